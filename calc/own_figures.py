"""What the stages of a unit conduct, whatever the rating says, and how far that is from what they once did."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import hypot
from typing import NamedTuple

import numpy as np

from calc.arrays import Floats, Ints
from calc.columns import Conditions, columns_of
from calc.evidence import Evidence, OwnConductance, rating_not_identified
from calc.pooling import Pooled
from calc.stages import StageResults, judge_columns, normalising_voltage_v
from calc.uncertainty import NORMAL_COVERAGE_FACTOR, rectangular_u


class Change(NamedTuple):
    """How far a stage is from the mean of its earlier checks, with k = 2, and how many those are. [%]"""

    stage: int
    percent: float
    expanded_uncertainty_percent: float
    checks: int


def own_conductances(evidences: Sequence[Evidence]) -> list[tuple[OwnConductance, ...]]:
    """Return what each stage conducted at each visit, at 20 °C, whatever the rating says.

    Examples
    --------
    >>> from calc.evidence import Meter, StageReading
    >>> reading = StageReading(1, (1,), 13.76, 40.1)
    >>> meters = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)
    >>> ((stage,),) = own_conductances([Evidence(rating_not_identified(1, 12.0), *meters, 20.0, 5.0, (reading,))])
    >>> round(stage.conductance_s, 4), round(stage.u_conductance_s, 4), round(stage.u_alone_s, 4)
    (2.9142, 0.0648, 0.0211)
    """
    columns = columns_of([_without_rating(evidence) for evidence in evidences])
    results = judge_columns(columns)
    first = np.searchsorted(results.rows.inspection, np.arange(len(evidences) + 1)).tolist()
    alone_s = u_alone_s(columns.conditions, results)
    return [conductances_of(results, alone_s, slice(*bounds)) for bounds in pairwise(first)]


def _without_rating(evidence: Evidence) -> Evidence:
    rating = evidence.rating
    return replace(evidence, rating=rating_not_identified(rating.stages, rating.system_voltage_v))


def conductances_of(results: StageResults, alone_s: Floats, rows: slice) -> tuple[OwnConductance, ...]:
    """Return the conductances of some stage rows of units without a rating, those that have none left out."""
    columns = (
        (results.rows.stage[rows] + 1).tolist(),
        results.level[rows].tolist(),
        results.budget.u_combined_a[rows].tolist(),
        alone_s[rows].tolist(),
    )
    known = results.has_conductance[rows].tolist()
    each = zip(known, *columns, strict=True)
    return tuple(OwnConductance(*figures) for has_conductance, *figures in each if has_conductance)


def u_alone_s(conditions: Conditions, results: StageResults) -> Floats:
    """Return what of each stage's standard uncertainty the other stages of the visit do not share. [S]

    The counts of both meters and the scatter are a reading's own; percent terms, coil temperature and rest current are
    one and the same for all.
    """
    rows = results.rows
    own_s, before_s = (_reading_u_s(conditions, rows.inspection, read) for read in (rows.own, rows.before))
    at_20_c: Floats = np.hypot(own_s, before_s) * normalising_voltage_v(conditions)[rows.inspection]
    return at_20_c


def _reading_u_s(conditions: Conditions, visit: Ints, read: Pooled) -> Floats:
    # Without volts there is no conductance either: nobody is answered what comes out of it.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        amps = conditions.ammeter.at(visit, read.current_a).counts_half_width / read.supply_voltage_v
        volts = conditions.voltmeter.at(visit, read.supply_voltage_v).counts_half_width / read.supply_voltage_v
        counts_s = np.hypot(rectangular_u(amps), rectangular_u(volts * np.abs(read.conductance_s)))
        return np.hypot(counts_s, read.u_scatter_s)


def draws(one: OwnConductance) -> bool:
    """Return whether the meters could tell the stage's current from none."""
    return one.conductance_s > NORMAL_COVERAGE_FACTOR * one.u_conductance_s


def changes_of(evidence: Evidence, own: Sequence[OwnConductance]) -> list[Change]:
    """Return the changes that count: what a stage draws more after its repair it may owe to the repair."""
    found = changes(own, evidence.own_history)
    return [change for change in found if change.percent <= 0 or change.stage not in evidence.stages_repaired]


def changes(own: Sequence[OwnConductance], history: Sequence[OwnConductance]) -> list[Change]:
    """Return how far each stage that was read earlier is from the mean of what it conducted then.

    Notes
    -----
    What one check's meters and temperature did wrong may have gone wrong the same way at every earlier one, so their
    uncertainty is averaged and not reduced; that against today's it is taken as independent makes the bound the wider.
    A stage that drew nothing is no measure of itself, and is left out.

    Examples
    --------
    >>> earlier = [OwnConductance(1, 2.0, 0.04, 0.01), OwnConductance(1, 2.1, 0.04, 0.01)]
    >>> [change] = changes([OwnConductance(1, 1.845, 0.03, 0.01)], earlier)
    >>> round(change.percent, 2), round(change.expanded_uncertainty_percent, 2), change.checks
    (-10.0, 4.88, 2)
    """
    means, found = {mean.stage: mean for mean in own_means(history)}, []
    for now in own:
        if (then := means.get(now.stage)) is None:
            continue
        expanded_s = NORMAL_COVERAGE_FACTOR * hypot(now.u_conductance_s, then.u_conductance_s)
        percent = 100 * (now.conductance_s / then.conductance_s - 1)
        checks = len(that_drew(history, now.stage))
        found.append(Change(now.stage, percent, 100 * expanded_s / then.conductance_s, checks))
    return found


def own_means(history: Sequence[OwnConductance]) -> list[OwnConductance]:
    """Return what each stage conducted on average over a unit's checks, stages that drew nothing left out.

    Uncertainties are averaged and not reduced: one clamp may be wrong the same way at every check.
    """
    means = []
    for stage in sorted({one.stage for one in history}):
        if then := that_drew(history, stage):
            columns = zip(*((one.conductance_s, one.u_conductance_s, one.u_alone_s) for one in then), strict=True)
            means.append(OwnConductance(stage, *(sum(column) / len(then) for column in columns)))
    return means


def mean_conductances(history: Sequence[OwnConductance]) -> dict[int, float]:
    """Return what each stage conducted on average, at 20 °C, stages that drew nothing left out. [S]"""
    return {mean.stage: mean.conductance_s for mean in own_means(history)}


def that_drew(history: Sequence[OwnConductance], stage: int) -> list[OwnConductance]:
    """Return the earlier figures of a stage that its meters could tell from none: the others are no measure of it."""
    return [one for one in history if one.stage == stage and draws(one)]


def is_unlike(change: Change) -> bool:
    """Return whether a change is more than the meters and the temperature explain."""
    return abs(change.percent) > change.expanded_uncertainty_percent
