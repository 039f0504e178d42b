"""Whether a step is the meter's: how many units show it, and what other meters read on the same units meanwhile."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.meter_model import EFFECT_SD_PERCENT
from calc.trend.meter_visits import MeterVisits, robust_lines
from calc.trend.step_bounds import Bounds
from calc.trend.unit_lines import UnitLines

SHARE_OF_SIZE = 0.5
# Others on the same units have moved along where they are this sure of it.
OTHERS_Z = 1.0
_OWN_SINCE, _OTHERS_SINCE, _OWN = range(3)
# By as much as it likes: what one unit does says nothing about another.
_UNIT_STEP_SD_PERCENT = 100.0
# What other meters say is asked twice: of all units that the meter has read, and of those that bridge the step.  A loss
# of the units that the meter mostly reads would drown among all those that it has read once.
_ALL, _BRIDGING = range(2)


class StepEvidence:
    """The units behind some steps, at most one a meter, added up range by range.

    Parameters
    ----------
    meter : ndarray of int, shape (steps,)
        Which meter, rising.
    since_years, size_percent : ndarray, shape (steps,)
        First time after the step [year], and how large it is, negative where the meter turns low. [%]
    """

    def __init__(self, meter: Ints, since_years: Floats, size_percent: Floats) -> None:
        """Begin with no unit."""
        steps = len(meter)
        self._meter, self._since, self._size = meter, since_years, size_percent
        self._information, self._pull = np.zeros((2, steps, 3, 3)), np.zeros((2, steps, 3))
        self._within, self._within_pull = np.zeros((steps, 2, 2)), np.zeros((steps, 2))
        self._units, self._moved = np.zeros((2, steps), np.int64)

    def add(self, visits: MeterVisits, value_percent: Floats) -> None:
        """Take in every visit of some units; the values are less the effects of the meters.  [%]"""
        step, unit, visit = self._joined(visits)
        if not len(visit):
            return
        lines, residual = robust_lines(visits, value_percent)
        pairs, row = np.unique(unit * len(self._meter) + step, return_inverse=True)
        own = visits.meter[visit] == self._meter[step]
        since = visits.years[visit] >= self._since[step]
        counts = [np.bincount(row, each, minlength=len(pairs)) for each in (own & ~since, own & since, since)]
        bridging: Bools = (counts[0] > 0) & (counts[1] > 0) & (counts[2] > 1)
        kinds = [own & since, ~own & since, own]
        of_pair, own_size = self._add_equations(pairs, row, visit, kinds, bridging, lines, residual)
        self._units += np.bincount(of_pair, bridging, minlength=len(self._meter)).astype(np.int64)
        moved = bridging & (own_size / self._size[of_pair] > SHARE_OF_SIZE)
        self._moved += np.bincount(of_pair, moved, minlength=len(self._meter)).astype(np.int64)

    def _joined(self, visits: MeterVisits) -> tuple[Ints, Ints, Ints]:
        """Return step, unit and visit of everything read, by any meter, of a unit that the step's meter has read."""
        if not len(self._meter):
            return (np.zeros(0, np.int64),) * 3
        place = np.minimum(np.searchsorted(self._meter, visits.meter), len(self._meter) - 1)
        own = np.flatnonzero(self._meter[place] == visits.meter)
        pairs = np.unique(visits.unit[own] * len(self._meter) + place[own])
        unit, step = np.divmod(pairs, len(self._meter))
        order = np.argsort(visits.unit, kind="stable")
        count = np.bincount(visits.unit, minlength=visits.units)
        begins = np.cumsum(count) - count
        each = np.repeat(np.arange(len(pairs)), count[unit])
        within = np.arange(len(each)) - np.repeat(np.cumsum(count[unit]) - count[unit], count[unit])
        return step[each], unit[each], order[begins[unit[each]] + within]

    def _add_equations(
        self,
        pairs: Ints,
        row: Ints,
        visit: Ints,
        kinds: list[Bools],
        bridging: Bools,
        lines: UnitLines,
        residual: Floats,
    ) -> tuple[Ints, Floats]:
        """Add up what the units say of the three sizes; return which step each pair is of, and its size there."""
        unit, step = np.divmod(pairs, len(self._meter))
        weight, years = lines.weight[visit], lines.years[visit]
        pulls = [weight * residual[visit] * kind for kind in kinds]
        pull = [np.bincount(row, each, minlength=len(pairs)).astype(np.float64) for each in pulls]
        sums = [[np.bincount(row, weight * years**p * kind, minlength=len(pairs)) for p in range(2)] for kind in kinds]
        offset, both, slope = (each[unit] for each in lines.inverse)
        said: Floats = np.zeros((3, 3, len(pairs)))
        for one, (level, trend) in enumerate(sums):
            left_level, left_trend = offset * level + both * trend, both * level + slope * trend
            for other, (level_too, trend_too) in enumerate(sums):
                shared = np.bincount(row, weight * (kinds[one] & kinds[other]), minlength=len(pairs))
                said[one, other] = shared - left_level * level_too - left_trend * trend_too
                self._information[:, :, one, other] += self._by_step(step, said[one, other], bridging)
            self._pull[:, :, one] += self._by_step(step, pull[one], bridging)
        self._add_within_units(step, said, np.stack(pull))
        own_size: Floats = pull[_OWN_SINCE] / np.maximum(said[_OWN_SINCE, _OWN_SINCE], 1e-9)
        return step, own_size

    def _add_within_units(self, step: Ints, said: Floats, pull: Floats) -> None:
        """Add up what the units say of the meter beside the others, each unit free to have stepped by itself."""
        # Columns: what the unit shows since, by whichever meter; what this meter shows beyond that; its own effect.
        columns = np.array([[1.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
        information = np.einsum("kip,kj->ijp", np.einsum("klp,li->kip", said, columns), columns)
        pulls = columns.T @ pull
        unit = information[0, 0] + 1 / _UNIT_STEP_SD_PERCENT**2
        left = information[1:, 1:] - information[0, 1:, None] * information[0, None, 1:] / unit
        left_pull = pulls[1:] - information[0, 1:] * pulls[0] / unit
        for one in range(2):
            self._within_pull[:, one] += np.bincount(step, left_pull[one], minlength=len(self._meter))
            for other in range(2):
                self._within[:, one, other] += np.bincount(step, left[one, other], minlength=len(self._meter))

    def _by_step(self, step: Ints, said: Floats, bridging: Bools) -> Floats:
        """Return the sums over all units, and over those that bridge the step, shape (2, steps)."""
        return np.stack([np.bincount(step, said * of, minlength=len(self._meter)) for of in (np.ones(1), bridging)])

    def believed(self, scatter: Floats, bounds: Bounds) -> Bools:
        """Return which steps enough units show and no other meter contradicts, the noise so much larger than stated."""
        enough: Bools = (self._units >= bounds.units) & (self._moved >= bounds.share_moved * self._units)
        return enough & ~self._others_moved(scatter, bounds).any(axis=0)

    def corroborated(self, scatter: Floats, bounds: Bounds) -> Bools:
        """Return of which steps other meters say that they are the meter's.

        That others do not contradict is not enough: where none of them reads these units since, whatever befell the
        units would look the same.  Within units that both read since, the meter has to have moved away from the others
        for certain, and by half of the step: what units do that only one of them reads tells nothing.
        """
        covariance = np.linalg.inv(self._within + np.diag([1e-6, 1 / EFFECT_SD_PERCENT**2]))
        difference = np.einsum("sj,sj->s", covariance[:, 0], self._within_pull) * np.sign(self._size)
        u = np.sqrt(covariance[:, 0, 0] * scatter)
        sure: Bools = (difference > bounds.difference_z * u) & (difference > SHARE_OF_SIZE * np.abs(self._size))
        return sure

    def _others_moved(self, scatter: Floats, bounds: Bounds) -> Bools:
        sizes, covariance = self._sizes()
        others = sizes[:, :, _OTHERS_SINCE] * np.sign(self._size)
        u = np.sqrt(covariance[:, :, _OTHERS_SINCE, _OTHERS_SINCE] * scatter)
        moved: Bools = (others > OTHERS_Z * u) & (others > bounds.others_share * np.abs(self._size))
        return moved

    def _sizes(self) -> tuple[Floats, Floats]:
        """Return the three sizes and their covariance, of all units and of the bridging ones."""
        # Next to nothing is known beforehand of a step: where no other meter reads since, its size stays unknown.
        information: Floats = self._information + np.diag([1e-6, 1e-6, 1 / EFFECT_SD_PERCENT**2])
        covariance = np.linalg.inv(information).astype(np.float64)
        sizes: Floats = np.einsum("ksij,ksj->ksi", covariance, self._pull)
        return sizes, covariance
