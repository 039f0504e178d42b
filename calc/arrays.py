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
