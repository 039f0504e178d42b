"""Names for the array types that the formulas take and return."""

from typing import TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]
Quantity: TypeAlias = float | Floats

# Formulas whose arguments are all alike: scalars give a scalar, arrays an array.
Amount = TypeVar("Amount", float, Floats)
AnyAmount = TypeVar("AnyAmount", float, Floats, Quantity)


def anywhere(values: Bools | Floats) -> bool:
    """Return whether any value is true, or other than zero.

    A count costs a third of what `any` does on the few values of a single visit, and no more on many.

    Examples
    --------
    >>> anywhere(np.array([0.0, 0.5])), anywhere(np.zeros(3))
    (True, False)
    """
    return bool(np.count_nonzero(values))


def everywhere(values: Bools) -> bool:
    """Return whether every value is true, as quickly.

    Examples
    --------
    >>> everywhere(np.array([True, False])), everywhere(np.ones(3, dtype=np.bool_))
    (False, True)
    """
    return int(np.count_nonzero(values)) == values.size
