"""What a unit whose type is not identified says about itself: dead stages, its balance, and its own history."""

from collections.abc import Iterator, Sequence
from math import hypot, isfinite, sqrt
from statistics import median_high
from typing import NamedTuple

import numpy as np
from scipy.special import expit

from calc.evidence import Evidence, OwnConductance
from calc.judgement import Finding, Severity
from calc.own_figures import Change, changes_of, draws, is_unlike, mean_conductances
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from calc.unit import HEALTHY_SPREAD, LOG_PRIOR_ODDS, PRIOR_HEALTHY, log_ratio_for_healthy

# Judgement, no source: a stage below this share of another, or of itself earlier, does not draw.
LOWEST_DRAWING_SHARE = 0.1
# Judgement, no source: below and above these shares of what it drew itself, less the doubt, no stage is sound. [%]
SOUND_PERCENT_OF_ITSELF = (50.0, 130.0)
# Judgement, no source: stages are called alike only where they are within so many times what sound ones differ by.
ALIKE_WITHIN_SPREADS = 2.0


class Balance(NamedTuple):
    """A visit's imbalance and its expanded uncertainty of k = 2; NaN where not every stage is known. [%]"""

    percent: float
    expanded_uncertainty_percent: float


def stages_without_current(
    own: Sequence[OwnConductance], history: Sequence[OwnConductance]
) -> tuple[list[int], list[int]]:
    """Return which stages draw nothing, and of which these meters cannot tell whether they draw.

    Notes
    -----
    Whatever the type is, a stage that is switched on and carries less than a tenth of what the middle one of those that
    draw carries, or of what it carried itself, does not work (judgement; the same tenth as where a reading is
    expected by the other stages).  A current that merely drowns in the meters' uncertainty says nothing.

    Examples
    --------
    >>> fine = [OwnConductance(stage, g, 0.02, 0.01) for stage, g in ((1, 2.9), (2, 0.09), (3, 2.9), (4, 2.9))]
    >>> stages_without_current(fine, ())
    ([2], [])
    >>> stages_without_current([OwnConductance(stage, 0.64, 0.42, 0.42) for stage in (1, 2)], ())
    ([], [1, 2])
    """
    drawing = [one.conductance_s for one in own if draws(one)]
    drawing = [conductance_s for conductance_s in drawing if conductance_s > LOWEST_DRAWING_SHARE * max(drawing)]
    middle_s = median_high(drawing) if drawing else 0.0
    before_s = mean_conductances(history)
    dead, untold = [], []
    for one in own:
        most_s = one.conductance_s + NORMAL_COVERAGE_FACTOR * one.u_conductance_s
        if most_s < LOWEST_DRAWING_SHARE * max(middle_s, before_s.get(one.stage, 0.0)):
            dead.append(one.stage)
        elif not draws(one):
            untold.append(one.stage)
    return dead, untold


def own_findings(evidence: Evidence, own: Sequence[OwnConductance], balance: Balance) -> Iterator[Finding]:
    """Return what a unit says about itself: stages without current, its balance, and its own history.

    Parameters
    ----------
    evidence : Evidence
        One visit, its `own_history` holding what the unit conducted earlier.
    own : sequence of OwnConductance
        What its stages conduct now.
    balance : Balance
        The visit's imbalance.
    """
    dead, untold = stages_without_current(own, evidence.own_history)
    for stage in dead:
        yield Finding("stage_draws_nothing", "defect", stage, {"share_percent": 100 * LOWEST_DRAWING_SHARE})
    for stage in untold:
        yield Finding("stage_current_not_told", "caution", stage, {})
    if not dead:
        yield from _balance_findings(own, balance)
    if evidence.own_history_left_out:
        yield Finding("own_history_left_out", "note", None, {})
        return
    alive = [one for one in own if one.stage not in dead]
    yield from _history_findings(changes_of(evidence, alive), compared=bool(alive))


def own_healthy_probability(by_balance: float, found: Sequence[Change]) -> float:
    """Return how likely nothing is wrong: no more than its balance, its own history and the prior allow, each alone.

    Stages that have all lost alike since before the first check look sound, so nothing lifts it above the prior.

    Examples
    --------
    >>> own_healthy_probability(1.0, []), round(own_healthy_probability(1.0, [Change(2, -20.0, 5.0, 3)]), 2)
    (0.9, 0.0)
    """
    if not found:
        return min(by_balance, PRIOR_HEALTHY)
    levels = np.array([1 + change.percent / 100 for change in found])
    u_levels = np.array([change.expanded_uncertainty_percent / 100 for change in found]) / NORMAL_COVERAGE_FACTOR
    by_history = float(expit(LOG_PRIOR_ODDS + log_ratio_for_healthy(levels, u_levels).min()))
    return min(by_balance, PRIOR_HEALTHY, by_history)


def _balance_findings(own: Sequence[OwnConductance], balance: Balance) -> Iterator[Finding]:
    if not isfinite(balance.percent) or len(own) < 2:
        return
    # Sound stages differ too; a stage is told apart from their mean, of which it is itself a part.
    spread = 100 * NORMAL_COVERAGE_FACTOR * HEALTHY_SPREAD * sqrt(1 - 1 / len(own))
    params: dict[str, float | str] = {
        "imbalance_percent": balance.percent,
        "expanded_uncertainty_percent": balance.expanded_uncertainty_percent,
        "spread_percent": spread,
    }
    if balance.percent <= hypot(spread, balance.expanded_uncertainty_percent):
        most = ALIKE_WITHIN_SPREADS * spread
        told = balance.percent + balance.expanded_uncertainty_percent <= most
        params["most_percent"] = most
        yield (
            Finding("stages_alike", "note", None, params)
            if told
            else Finding("stages_alike_not_told", "caution", None, params)
        )
    elif len(own) == 2:
        # Of two that differ nobody can say which one it is.
        yield Finding("stages_unlike", "caution", None, params)
    else:
        mean_s = sum(one.conductance_s for one in own) / len(own)
        worst = max(own, key=lambda one: abs(one.conductance_s - mean_s))
        params["deviation_percent"] = 100 * (worst.conductance_s / mean_s - 1)
        yield Finding("stage_unlike_the_others", "caution", worst.stage, params)


def _history_findings(found: Sequence[Change], *, compared: bool) -> Iterator[Finding]:
    if not found:
        if compared:
            yield Finding("no_own_history", "note", None, {})
        return
    beyond = [change for change in found if is_unlike(change)]
    for change in beyond:
        severity: Severity = "defect" if is_beyond_doubt(change) else "caution"
        yield Finding("stage_unlike_its_history", severity, change.stage, _params(change))
    if not beyond:
        largest = max(found, key=lambda change: abs(change.percent))
        yield Finding("like_its_history", "note", None, {**_params(largest), "largest_stage": largest.stage})


def is_beyond_doubt(change: Change) -> bool:
    """Return whether a change, less its uncertainty, is one that no sound stage makes.

    >>> is_beyond_doubt(Change(1, -60.0, 9.9, 3)), is_beyond_doubt(Change(1, -55.0, 9.9, 3))
    (True, False)
    """
    least, most = SOUND_PERCENT_OF_ITSELF
    now, doubt = 100 + change.percent, change.expanded_uncertainty_percent
    return now + doubt < least or now - doubt > most


def _params(change: Change) -> dict[str, float | str]:
    return {
        "deviation_percent": change.percent,
        "expanded_uncertainty_percent": change.expanded_uncertainty_percent,
        "checks": change.checks,
    }
