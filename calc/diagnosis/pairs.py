"""Two causes at once, weighed only where no single cause explains the readings.

All pairs are far too many to fit.  Those worth fitting are found from straight-line estimates: the first cause at its
medians, and how much of its misfit the second one would take away.
"""

from collections.abc import Sequence

import numpy as np

from calc.arrays import Floats
from calc.diagnosis.candidates import Candidate, Cause, joined
from calc.diagnosis.fit import Fit, Problem, linearised, scene_of, starting_fit
from calc.diagnosis.forward import Topology
from calc.diagnosis.predict import predicted

LEADERS_BY_SCORE, LEADERS_BY_WEIGHT = 9, 4
PAIRS_FITTED = 90
# How far the size of a second cause may lie from the middle of the piece of its range that stands for it.
SMALLEST_AMPLITUDE, LARGEST_AMPLITUDE = 0.6, 1.6
LIKELY_WITHIN = 14.0


def pairs_to_fit(problem: Problem, found: Fit, log_weight: Floats) -> list[Candidate]:
    """Return pairs of causes that may explain what none of them does alone, one for each kind that shows the same."""
    kinds = _kinds(found, log_weight)
    faulty = [members[0] for members in kinds if not is_sound(found.candidates[members[0]])]
    distinct = [found.candidates[place] for place in faulty]
    start = starting_fit(problem, distinct)
    linear = linearised(problem, distinct, start.topology, start.draws)
    residual = problem.taken - linear.shown
    covariance = linear.slope @ linear.slope.swapaxes(1, 2) + np.diag(problem.u_own**2)
    leaders = _leaders(residual, covariance, log_weight[faulty])
    pairs, score = [], []
    for leader in leaders:
        others = [
            place for place, other in enumerate(distinct) if _worth_joining(distinct, leaders, leader, place, other)
        ]
        both = [joined(distinct[leader], distinct[place]) for place in others]
        if both:
            pairs += both
            score.append(_misfit_left(problem, both, linear.shown[leader], residual[leader], covariance[leader]))
    if not pairs:
        return []
    best = np.argsort(np.concatenate(score), kind="stable")[:PAIRS_FITTED].tolist()
    return [pairs[place] for place in best]


def with_look_alikes(found: Fit, log_weight: Floats, pairs: Fit, log_pairs: Floats) -> list[Candidate]:
    """Return the likely pairs, each with every other cause that shows the same in the place of either."""
    likely = np.flatnonzero(log_pairs > log_pairs.max() - LIKELY_WITHIN).tolist()
    alike = _alike_by_effect(found, log_weight)
    spread: dict[tuple[int, ...], Candidate] = {}
    for place in likely:
        first, second = pairs.candidates[place].effects
        for one in alike[id(first)]:
            for other in alike[id(second)]:
                if may_coexist(one.causes[0], other.causes[0]):
                    spread[tuple(sorted((id(one), id(other))))] = joined(one, other)
    return list(spread.values())


def together(singles: Fit, pairs: Fit) -> Fit:
    """Return both as one fit; a single cause has no second severity."""
    missing = pairs.draws.shape[1] - singles.draws.shape[1]
    widened = np.pad(singles.draws, ((0, 0), (0, missing)))
    topology = Topology(
        np.concatenate([singles.topology.outputs_on, pairs.topology.outputs_on]),
        np.concatenate([singles.topology.hangs_on, pairs.topology.hangs_on]),
    )
    return Fit(
        [*singles.candidates, *pairs.candidates],
        topology,
        np.concatenate([widened, pairs.draws]),
        np.concatenate([singles.log_evidence, pairs.log_evidence]),
        np.concatenate([singles.misfit, pairs.misfit]),
    )


def is_sound(candidate: Candidate) -> bool:
    """Return whether a candidate is the unit as it should be, or as its file says that it is."""
    return candidate.causes[0].code == "healthy" or (len(candidate.effects) == 1 and candidate.effects[0].is_nothing())


def may_coexist(one: Cause, other: Cause) -> bool:
    """Return whether two causes can be told as two: not twice the same, nor two of one stage."""
    return one != other and not set(one.stages) & set(other.stages) and (one.code != other.code or bool(one.stages))


def _kinds(found: Fit, log_weight: Floats) -> list[list[int]]:
    """Return the places of the candidates that fit alike, the likeliest of each kind first."""
    kinds: dict[tuple[float, ...], list[int]] = {}
    for place in np.argsort(-log_weight, kind="stable").tolist():
        kinds.setdefault((*found.draws[place].tolist(), float(found.log_evidence[place])), []).append(place)
    return list(kinds.values())


def _alike_by_effect(found: Fit, log_weight: Floats) -> dict[int, list[Candidate]]:
    alike: dict[int, list[Candidate]] = {}
    for members in _kinds(found, log_weight):
        kind = [found.candidates[place] for place in members]
        alike |= {id(candidate.effects[0]): kind for candidate in kind}
    return alike


def _leaders(residual: Floats, covariance: Floats, log_weight: Floats) -> list[int]:
    """Return the causes that explain most readings, however far off the others are, and the likeliest ones."""
    variance = np.diagonal(covariance, axis1=1, axis2=2)
    score = np.log1p(residual**2 / (4.0 * variance)).sum(axis=1) + 0.5 * np.log(variance).sum(axis=1)
    by_score = np.argsort(score, kind="stable")[:LEADERS_BY_SCORE].tolist()
    by_weight = np.argsort(-log_weight, kind="stable")[:LEADERS_BY_WEIGHT].tolist()
    return list(dict.fromkeys([*by_score, *by_weight]))


def _worth_joining(
    distinct: Sequence[Candidate], leaders: Sequence[int], leader: int, place: int, other: Candidate
) -> bool:
    met = place in leaders and leaders.index(place) <= leaders.index(leader)
    return not met and may_coexist(distinct[leader].causes[0], other.causes[0])


def _misfit_left(
    problem: Problem, both: Sequence[Candidate], shown: Floats, residual: Floats, covariance: Floats
) -> Floats:
    """Return the misfit of a leader once each second cause has taken its part away.

    The second cause's effect is taken as a straight line through its middle size.
    """
    start = starting_fit(problem, both)
    scene = scene_of(problem, both, start.topology, start.draws)
    effect = predicted(scene, problem.observations, problem.state_of)[:, 0] - shown
    inverse = np.linalg.inv(covariance)
    along = np.einsum("bm,mn,n->b", effect, inverse, residual)
    length = np.maximum(np.einsum("bm,mn,bn->b", effect, inverse, effect), 1e-12)
    amplitude = np.clip(along / length, SMALLEST_AMPLITUDE, LARGEST_AMPLITUDE)
    taken_away = 2 * amplitude * along - amplitude**2 * length
    return np.asarray(residual @ inverse @ residual - taken_away)
