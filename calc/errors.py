"""How a formula refuses an argument: by quantity, value and permitted range."""

import numpy as np
import numpy.typing as npt

RELATIVE_SLACK = 1e-9


class OutOfRange(ValueError):
    """An argument lies outside the range a formula holds for."""

    def __init__(self, quantity: str, value: float, lowest: float, highest: float) -> None:
        super().__init__(f"{quantity} = {value:g} is outside the permitted range {lowest:g} to {highest:g}")
        self.quantity = quantity
        self.value = value
        self.lowest = lowest
        self.highest = highest


def require_range(
    quantity: str, values: npt.ArrayLike, lowest: npt.ArrayLike, highest: npt.ArrayLike, *, absent_allowed: bool = False
) -> None:
    """Refuse a value outside `lowest` … `highest`, NaN included.

    Parameters
    ----------
    quantity : str
        Name of the argument, unit suffix included.
    values : array_like
        What was given. [unit of the quantity]
    lowest, highest : array_like
        Smallest and largest permitted value, one or one per value. [unit of the quantity]
    absent_allowed : bool
        Whether NaN stands for "not read" and passes.

    Raises
    ------
    OutOfRange
        Names the quantity, the first offending value and the permitted range.

    Examples
    --------
    >>> require_range("supply_voltage_v", [13.8, -1.0], 0.0, 1e6)
    Traceback (most recent call last):
    calc.errors.OutOfRange: supply_voltage_v = -1 is outside the permitted range 0 to 1e+06
    """
    given = np.asarray(values, dtype=np.float64)
    least, most = np.asarray(lowest, dtype=np.float64), np.asarray(highest, dtype=np.float64)
    accepted = ~((given < least) | (given > most)) if absent_allowed else (given >= least) & (given <= most)
    if not accepted.all():
        first = int(np.argmin(accepted))
        limits = (float(np.broadcast_to(limit, given.shape).flat[first]) for limit in (least, most))
        raise OutOfRange(quantity, float(given.flat[first]), *limits)
