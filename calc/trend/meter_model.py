"""How far each test meter reads from the others, from the units that several of them have read.

value = offset of the unit + its slope × time + effect of the meter + noise: a sparse crossed model of the whole fleet.
Effects can be compared only where meters are connected by units that both have read, and are given relative to the
median of such a component.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve
from scipy.sparse.linalg import splu

from calc.arrays import Bools, Floats, Ints
from calc.trend.unit_lines import UnitLines, eliminated

EFFECT_SD_PERCENT = 0.7
# A meter is flagged when its effect is both certain and large enough to matter.
FLAGGED_Z = 3.5
FLAGGED_EFFECT_PERCENT = 1.0
_DENSE_METERS = 1000
_CONTRASTS_AT_ONCE = 16


@dataclass(frozen=True, slots=True)
class MeterEffects:
    """Arrays of shape (meters,); NaN where a meter is connected with no other.

    In a component of more than a thousand meters, `u_percent` is NaN also where the effect is too small to be flagged.

    Attributes
    ----------
    effect_percent : ndarray
        Effect relative to the median of the component, negative where the meter reads low. [%]
    u_percent : ndarray
        Its standard uncertainty. [%]
    component : ndarray of int
        Meters of one component can be compared with each other.
    visits : ndarray of int
        Visits that the effect rests on.
    """

    effect_percent: Floats
    u_percent: Floats
    component: Ints
    visits: Ints

    @property
    def z(self) -> Floats:
        """Return the effect over its uncertainty."""
        return self.effect_percent / self.u_percent

    @property
    def reads_low(self) -> Bools:
        """Return which meters read low enough, and certainly enough, to be called back."""
        low: Bools = (self.z < -FLAGGED_Z) & (self.effect_percent < -FLAGGED_EFFECT_PERCENT)
        return low

    @property
    def reads_high(self) -> Bools:
        """Return which meters read high: they hide losses, and make the others look low."""
        high: Bools = (self.z > FLAGGED_Z) & (self.effect_percent > FLAGGED_EFFECT_PERCENT)
        return high


def meter_effects(
    unit: Ints,
    meter: Ints,
    years: Floats,
    value_percent: Floats,
    variance: Floats,
    *,
    units: int,
    meters: int,
) -> MeterEffects:
    """Return the effect of every meter.

    Parameters
    ----------
    unit, meter : ndarray of int, shape (visits,)
        Which baseline of which unit was read, 0 to units − 1, and by which meter, 0 to meters − 1.
    years : ndarray, shape (visits,)
        Time of the visit. [year]
    value_percent : ndarray, shape (visits,)
        Mean of the stages less rated. [%]
    variance : ndarray, shape (visits,)
        Variance of its noise. [%²]
    units, meters : int
        How many there are.

    Notes
    -----
    Offsets, slopes and effects are shrunk to zero by their spread in the fleet.  The two unknowns of each unit are
    eliminated, which leaves one equation a meter, solved component by component.

    References
    ----------
    C. R. Henderson, Biometrics 31 (1975) 423: mixed-model equations.

    Examples
    --------
    >>> unit, meter = np.repeat(np.arange(200), 4), np.tile([0, 1, 2, 0], 200)
    >>> value = np.where(meter == 1, -2.0, 0.0)
    >>> found = meter_effects(unit, meter, np.tile([0.0, 1, 2, 3], 200), value, np.full(800, 0.5), units=200, meters=3)
    >>> found.effect_percent.round(1).tolist(), found.reads_low.tolist()
    ([0.0, -2.0, 0.0], [False, True, False])
    """
    sums = MeterSums(meters)
    sums.add(unit, meter, years, value_percent, variance, units=units)
    return sums.effects()


class MeterSums:
    """The equations of the meters, added up unit by unit, so that a fleet need not be in memory to be solved.

    Examples
    --------
    >>> sums = MeterSums(2)
    >>> for _ in range(100):
    ...     sums.add(np.zeros(4, np.int64), np.array([0, 1, 0, 1]), np.arange(4.0), np.array([0.0, -2, 0, -2]),
    ...              np.full(4, 0.5), units=1)
    >>> sums.effects().effect_percent.round(1).tolist()
    [1.0, -1.0]
    """

    def __init__(self, meters: int) -> None:
        """Begin with nothing read by any of the meters."""
        self._own = np.full(meters, 1 / EFFECT_SD_PERCENT**2)
        self._shared = sparse.csr_array((meters, meters))
        self._pull = np.zeros(meters)
        self._visits = np.zeros(meters, np.int64)

    def add(
        self, unit: Ints, meter: Ints, years: Floats, value_percent: Floats, variance: Floats, *, units: int
    ) -> None:
        """Take in every visit of some units; parameters as in `meter_effects`."""
        meters = len(self._own)
        weight = 1 / variance
        lines = UnitLines.of(unit, years, weight, units)
        shared, pull = _without_units(lines, meter, value_percent, (units, meters))
        self._own += np.bincount(meter, weight, minlength=meters)
        self._shared = sparse.csr_array(self._shared + shared)
        self._pull += pull
        self._visits += np.bincount(meter, minlength=meters)

    def effects(self, part_of: Ints | None = None) -> MeterEffects:
        """Return the effect of every meter.

        Parameters
        ----------
        part_of : ndarray of int, shape (meters,), optional
            Of a part of a meter's use, the meter itself; of a whole one, −1.  A part is compared with the whole ones,
            its own meter's among them, so that it needs no other; it has no say in where their median is.
        """
        part = np.zeros(len(self._own), bool) if part_of is None else part_of >= 0
        normal = self._normal()
        component = sparse.csgraph.connected_components(normal, directed=False)[1].astype(np.int64)
        effect, u = np.full((2, len(self._own)), np.nan)
        read = np.flatnonzero(self._visits)
        for members in _groups(component[read], read):
            if len(members) > 1:
                found = _solved(normal[members][:, members], self._pull[members], part[members])
                effect[members], u[members] = found
        return MeterEffects(effect, u, component, self._visits)

    def differences(self, meter: Ints, before: Ints) -> tuple[Floats, Floats]:
        """Return how much more some meters read than others, and the standard uncertainty of that.  [%]"""
        solver = splu(sparse.csc_array(self._normal()))
        difference, u = np.zeros((2, len(meter)))
        for start in range(0, len(meter), _CONTRASTS_AT_ONCE):
            some = slice(start, start + _CONTRASTS_AT_ONCE)
            contrast = np.zeros((len(self._own), len(meter[some])))
            each = np.arange(len(meter[some]))
            contrast[meter[some], each], contrast[before[some], each] = 1.0, -1.0
            solved = solver.solve(contrast)
            difference[some], u[some] = self._pull @ solved, np.sqrt(np.einsum("ms,ms->s", contrast, solved))
        return difference, u

    def _normal(self) -> sparse.csr_array:
        return sparse.csr_array(sparse.diags_array(self._own) - self._shared)


def _without_units(
    lines: UnitLines, meter: Ints, value: Floats, shape: tuple[int, int]
) -> tuple[sparse.csr_array, Floats]:
    """Return what eliminating every unit's offset and slope takes from the equations of the meters, and the pull."""
    pull = np.bincount(meter, lines.weight * lines.residual(value), minlength=shape[1]).astype(np.float64)
    return eliminated(lines.weight, lines.years, (lines.unit, meter), lines.inverse, shape), pull


def _groups(component: Ints, members: Ints) -> list[Ints]:
    order = np.argsort(component, kind="stable")
    return np.split(members[order], np.flatnonzero(np.diff(component[order])) + 1)


def _solved(normal: sparse.csr_array, pull: Floats, part: Bools) -> tuple[Floats, Floats]:
    """Return the effects of one component and their uncertainties.

    The whole inverse of a large component would not fit in memory; there only the meters that may be flagged get an
    uncertainty, one column of the inverse each.
    """
    meters = len(pull)
    u = np.full(meters, np.nan)
    if meters <= _DENSE_METERS:
        factor = cho_factor(normal.toarray())
        solve: Callable[[Floats], Floats] = partial(cho_solve, factor)
        effect = solve(pull)
        u[:] = np.sqrt(np.diag(solve(np.eye(meters))))
    else:
        solve = splu(sparse.csc_array(normal)).solve
        effect = solve(pull)
        for one in np.flatnonzero(np.abs(effect - np.median(effect[~part])) > FLAGGED_EFFECT_PERCENT):
            u[one] = _u_of(solve, np.arange(meters) == one)
    for one in np.flatnonzero(part):
        u[one] = _u_of(solve, (np.arange(meters) == one) - ~part / np.count_nonzero(~part))
    return effect - np.median(effect[~part]), u


def _u_of(solve: Callable[[Floats], Floats], contrast: Floats | Bools) -> float:
    return float(np.sqrt(contrast @ solve(contrast.astype(np.float64))))
