"""The next reading: the one from which most is learnt for its work and risk."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from calc.arrays import Floats
from calc.diagnosis.candidates import Cause, topology_of, with_each_coil
from calc.diagnosis.fit import Fit, Problem, linearised
from calc.diagnosis.observations import Observation, own_uncertainty
from calc.diagnosis.offers import COST, Spot, offers
from calc.diagnosis.safety import safety_of
from calc.diagnosis.weigh import Weighed

SMALLEST_WEIGHT = 2e-3
MOST_CANDIDATES = 40
SETTLED = 0.97
# Information over work and risk, in nats, below which a reading is not worth asking for.
LEAST_WORTH = 0.05
SEPARABLE_SIGMA = 1.0
SHOWN_PROBABILITY = 0.02
REPAIRED_AS = {"shorted_turns": "shorted_coil"}
# Mean places of a normal distribution and their weights (Gauss-Hermite, five points).
_PLACES, _RAW = np.polynomial.hermite_e.hermegauss(5)
_WEIGHTS = _RAW / _RAW.sum()


@dataclass(frozen=True, slots=True)
class Outlook:
    """What every offered reading would show under every likely candidate: means and standard uncertainties."""

    offered: Sequence[Observation]
    labels: Sequence[tuple[Cause, ...]]
    label_of: Sequence[int]
    remedy_of: Sequence[int]
    weights: Floats
    mean: Floats
    u: Floats


@dataclass(frozen=True, slots=True)
class Chosen:
    """A reading, and what it would show under the leading causes, in the unit in which it is compared."""

    observation: Observation
    expected: tuple[tuple[tuple[Cause, ...], float], ...]


def choose(weighed: Weighed, out_of_reach: Collection[Spot] = ()) -> Chosen | None:
    """Return the reading to take next, None where one group is settled or nothing left can split the causes."""
    outlook = _outlook(weighed, out_of_reach)
    if outlook is None:
        return None
    place = _contact_drop_first(outlook, weighed.problem.unit.strings)
    if place is None:
        worth = _information(outlook) / np.array([COST[offer.kind] for offer in outlook.offered])
        place = int(np.argmax(worth))
        if worth[place] < LEAST_WORTH or _settled(outlook):
            return None
    return Chosen(outlook.offered[place], _expected(outlook, place))


def _outlook(weighed: Weighed, out_of_reach: Collection[Spot]) -> Outlook | None:
    problem, likely = weighed.problem, _likely(weighed)
    if len(likely) == 0 or weighed.none_weight > 0.5:
        return None
    weights, found = weighed.weights[likely], weighed.fit.take(likely)
    causes = [cause for candidate in found.candidates for cause in candidate.causes]
    offered = offers(problem, safety_of(problem), causes, out_of_reach)
    if not offered:
        return None
    found, weights = _placed(problem, found, weights)
    mean, variance, offered = _foreseen(problem, found, offered)
    labels = list(dict.fromkeys(candidate.causes for candidate in found.candidates))
    label_of = [labels.index(candidate.causes) for candidate in found.candidates]
    remedies = list(dict.fromkeys(_same_remedy(candidate.causes) for candidate in found.candidates))
    remedy_of = [remedies.index(_same_remedy(candidate.causes)) for candidate in found.candidates]
    return Outlook(offered, labels, label_of, remedy_of, weights / weights.sum(), mean, np.sqrt(variance))


def _same_remedy(causes: tuple[Cause, ...]) -> tuple[Cause, ...]:
    """Return one set of causes for all that are repaired alike: a coil is replaced whatever part of it is shorted."""
    return tuple(Cause(REPAIRED_AS.get(cause.code, cause.code), cause.stages) for cause in causes)


def _likely(weighed: Weighed) -> list[int]:
    order = np.argsort(-weighed.weights, kind="stable")[:MOST_CANDIDATES]
    return [int(place) for place in order if weighed.weights[place] >= SMALLEST_WEIGHT * weighed.weights.max()]


def _placed(problem: Problem, found: Fit, weights: Floats) -> tuple[Fit, Floats]:
    """Return the candidates once for each coil that may be the faulty one, where no coil has been read yet."""
    read = {o.stage for o in problem.observations if o.kind == "coil_drop"}
    others = set(range(problem.unit.stages)) - read
    candidates, source = [], []
    for place, candidate in enumerate(found.candidates):
        for placed in with_each_coil(candidate, problem.unit, others):
            candidates.append(placed)
            source.append(place)
    spread = found.take(source)
    counts = np.bincount(source, minlength=len(weights))
    return replace(spread, candidates=candidates), weights[source] / counts[source]


def _foreseen(problem: Problem, found: Fit, offered: list[Observation]) -> tuple[Floats, Floats, list[Observation]]:
    """Return mean and variance of every offered reading under every candidate, after the readings taken."""
    both = Problem.of(problem.evidence, problem.unit, [*problem.observations, *offered])
    topology = topology_of(problem.evidence, found.candidates, both.states)
    linear = linearised(both, found.candidates, topology, found.draws)
    taken = len(problem.observations)
    slope, offer_slope = linear.slope[:, :taken], linear.slope[:, taken:]
    covariance = slope @ slope.swapaxes(1, 2) + np.diag(problem.u_own**2)
    explained = offer_slope @ slope.swapaxes(1, 2)
    gained = np.einsum("brm,bmr->br", explained, np.linalg.solve(covariance, explained.swapaxes(1, 2)))
    mean = linear.shown[:, taken:]
    own = _own_uncertainties(problem, offered, mean)
    variance = np.maximum((offer_slope**2).sum(axis=-1) - gained, 0.0) + own**2
    return mean, variance, offered


def _own_uncertainties(problem: Problem, offered: Sequence[Observation], mean: Floats) -> Floats:
    rows = [
        [own_uncertainty(problem.evidence, offer.kind, value) for value in values]
        for offer, values in zip(offered, mean.T.tolist(), strict=True)
    ]
    return np.array(rows).T


def _probability(of: Sequence[int], weights: Floats) -> Floats:
    return np.asarray(np.bincount(of, weights), dtype=np.float64)


def _information(outlook: Outlook) -> Floats:
    """Return the mutual information between what is to be repaired and each offered reading.  [nat]"""
    remedy_of = np.asarray(outlook.remedy_of)
    at = outlook.mean[:, None, :] + _PLACES[None, :, None] * outlook.u[:, None, :]
    deviation = (at[:, :, None, :] - outlook.mean[None, None]) / outlook.u[None, None]
    log_density = -0.5 * deviation**2 - np.log(outlook.u)[None, None] + np.log(outlook.weights)[None, None, :, None]
    log_all = logsumexp(log_density, axis=2)
    mine = np.equal.outer(remedy_of, remedy_of)
    log_mine = logsumexp(np.where(mine[:, None, :, None], log_density, -np.inf), axis=2)
    log_remedy = np.log(_probability(outlook.remedy_of, outlook.weights)[remedy_of])[:, None, None]
    gain = (log_mine - log_remedy - log_all) * _WEIGHTS[None, :, None] * outlook.weights[:, None, None]
    return np.asarray(gain.sum(axis=(0, 1)))


def _settled(outlook: Outlook) -> bool:
    """Return whether the likeliest repair, with those that no offered reading tells from it, is above the threshold."""
    probability = _probability(outlook.remedy_of, outlook.weights)
    best = _best_candidates(outlook.remedy_of, outlook.weights)
    mean, u = outlook.mean[best], outlook.u[best]
    top = int(np.argmax(probability))
    apart = np.abs(mean - mean[top]) / np.hypot(u, u[top])
    inseparable = apart.max(axis=1, initial=0.0) < SEPARABLE_SIGMA
    return bool(probability[inseparable].sum() >= SETTLED)


def _best_candidates(of: Sequence[int], weights: Floats) -> list[int]:
    """Return the likeliest candidate of each label."""
    return [int(np.argmax(np.where(np.asarray(of) == label, weights, -1.0))) for label in range(max(of) + 1)]


def _contact_drop_first(outlook: Outlook, strings: int) -> int | None:
    """Return the contact drop of a stage whose open coil leads: a contact of that size shows the same amps."""
    leading = outlook.labels[int(np.argmax(_probability(outlook.label_of, outlook.weights)))]
    stages = [cause.stages[0] - 1 for cause in leading if cause.code == "open_coil" and strings > 1]
    for place, offer in enumerate(outlook.offered):
        if offer.kind == "contact_drop" and offer.stage in stages:
            return place
    return None


def _expected(outlook: Outlook, place: int) -> tuple[tuple[tuple[Cause, ...], float], ...]:
    probability = _probability(outlook.label_of, outlook.weights)
    best = _best_candidates(outlook.label_of, outlook.weights)
    leading = [label for label in np.argsort(-probability).tolist() if probability[label] >= SHOWN_PROBABILITY]
    return tuple((outlook.labels[label], float(outlook.mean[best[label], place])) for label in leading)
