"""Numbers that hold for a whole inspection, as columns, each checked against the range it may lie in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, everywhere
from calc.copper import HIGHEST_COIL_TEMPERATURE_C, HIGHEST_READING, LOWEST_COIL_TEMPERATURE_C
from calc.errors import require_range

MOST_STAGES = 8
RULES = ("simple", "guarded", "max_false_accept")


class Range(NamedTuple):
    """A quantity, the least and the most it may be, and whether it may be absent."""

    quantity: str
    lowest: float
    highest: float
    absent_allowed: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """The ranges of some quantities, in the order of their columns."""

    ranges: tuple[Range, ...]
    lowest: Floats
    highest: Floats
    may_be_absent: Bools

    def numbers(self, columns: Sequence[Sequence[float | None]]) -> Floats:
        """Return one checked array a quantity, NaN for what is absent.

        Raises
        ------
        OutOfRange
            Names the first quantity that fails, its value and the permitted range.
        """
        numbers = np.array(columns, dtype=np.float64)
        # All at once, for one visit is judged in less time than so many checks take; the first that fails is named.
        accepted = ~((numbers < self.lowest) | (numbers > self.highest)) & (self.may_be_absent | ~np.isnan(numbers))
        if not everywhere(accepted):
            for (quantity, lowest, highest, absent_allowed), values in zip(self.ranges, numbers, strict=True):
                require_range(quantity, values, lowest, highest, absent_allowed=absent_allowed)
        return numbers


def table(*ranges: Range) -> Table:
    """Return the table of these quantities.

    Examples
    --------
    >>> table(Range("current_a", 0.0, 10.0)).numbers([[2.5]]).tolist()
    [[2.5]]
    """
    lowest = np.array([[each.lowest] for each in ranges])
    highest = np.array([[each.highest] for each in ranges])
    return Table(ranges, lowest, highest, np.array([[each.absent_allowed] for each in ranges]))


_METER = (
    Range("accuracy_percent", 0.0, HIGHEST_READING),
    Range("accuracy_counts × resolution", 0.0, HIGHEST_READING**2),
    Range("resolution", 0.0, HIGHEST_READING),
    Range("range_max", -np.inf, np.inf, absent_allowed=True),
)
# Rating, ammeter, voltmeter and relay box: what many visits have in common.
KIT = table(
    Range("stages", 1.0, MOST_STAGES),
    Range("reference_voltage_v", 0.0, HIGHEST_READING, absent_allowed=True),
    Range("reference_temperature_c", LOWEST_COIL_TEMPERATURE_C, HIGHEST_COIL_TEMPERATURE_C),
    Range("reference_temperature_bound_c", 0.0, HIGHEST_READING),
    Range("tolerance_percent", 0.0, HIGHEST_READING, absent_allowed=True),
    Range("tolerance_percent", 0.0, HIGHEST_READING, absent_allowed=True),
    *_METER,
    *_METER,
    Range("electronic drive", 0.0, 1.0),
    Range("auxiliary load current_a", 0.0, HIGHEST_READING),
    Range("auxiliary load bound_a", 0.0, HIGHEST_READING),
    Range("auxiliary load current_a", 0.0, HIGHEST_READING),
    Range("auxiliary load bound_a", 0.0, HIGHEST_READING),
)
VISIT = table(
    Range("coil_temperature_c", LOWEST_COIL_TEMPERATURE_C, HIGHEST_COIL_TEMPERATURE_C),
    Range("coil_temperature_bound_c", 0.0, HIGHEST_READING),
    Range("rest.supply_voltage_v", -np.inf, np.inf, absent_allowed=True),
    Range("rest.current_a", -HIGHEST_READING, HIGHEST_READING, absent_allowed=True),
    Range("decision rule", 0.0, len(RULES) - 1),
    Range("max_false_accept_probability", -np.inf, np.inf, absent_allowed=True),
)
