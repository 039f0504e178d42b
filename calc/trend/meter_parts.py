"""Parts of the use of a meter: what it read from each step on, which is told from what it read before."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints

# Longer than any history, so that meter and time are one number to sort by.  [year]
_LONG = 1e5


@dataclass(frozen=True, slots=True)
class MeterParts:
    """Arrays of shape (parts,), sorted by meter and time; parts are numbered on after the meters.

    Attributes
    ----------
    meter : ndarray of int
        Of which meter.
    since_years : ndarray
        Time of the step. [year]
    """

    meter: Ints
    since_years: Floats

    def __len__(self) -> int:
        return len(self.meter)

    def numbers(self, meter: Ints, years: Floats, meters: int) -> Ints:
        """Return the meter of each visit, or from a step on the number of the part.

        Examples
        --------
        >>> parts = MeterParts(np.array([1]), np.array([2.5]))
        >>> parts.numbers(np.array([0, 1, 1, -1]), np.array([3.0, 2.0, 2.5, np.nan]), 2).tolist()
        [0, 1, 2, -1]
        """
        if not len(self):
            return meter
        place = np.searchsorted(_key(self.meter, self.since_years), _key(meter, years), side="right") - 1
        return np.where((place >= 0) & (self.meter[place] == meter), meters + place, meter)

    def part_of(self, meters: int) -> Ints:
        """Return −1 for each meter, and for each part its meter."""
        return np.concatenate([np.full(meters, -1), self.meter])

    def before(self, meters: int) -> Ints:
        """Return what each part follows: the part before it, or its meter itself."""
        follows = np.zeros(len(self), bool)
        follows[1:] = self.meter[1:] == self.meter[:-1]
        return np.where(follows, meters + np.arange(len(self)) - 1, self.meter)

    def where(self, chosen: Bools) -> "MeterParts":
        """Return some of the parts."""
        return MeterParts(self.meter[chosen], self.since_years[chosen])

    def beside(self, other: "MeterParts") -> tuple["MeterParts", Ints]:
        """Return these and others in order, and where each of them came from."""
        meter = np.concatenate([self.meter, other.meter])
        since = np.concatenate([self.since_years, other.since_years])
        order = np.argsort(_key(meter, since), kind="stable")
        return MeterParts(meter[order], since[order]), order


NO_PARTS = MeterParts(np.zeros(0, np.int64), np.zeros(0))


def _key(meter: Ints, years: Floats) -> Floats:
    key: Floats = meter * _LONG + years
    return key
