"""Weights of all candidates together: single causes, pairs where no single one explains, and none of these."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Floats
from calc.diagnosis import priors
from calc.diagnosis.candidates import Candidate, Cause, single_candidates, with_each_coil
from calc.diagnosis.fit import Fit, Problem, fit, scene_of, starting_fit, strain
from calc.diagnosis.observations import CURRENT_KINDS, Observation
from calc.diagnosis.pairs import pairs_to_fit, together, with_look_alikes
from calc.diagnosis.predict import predicted
from calc.diagnosis.seen import log_seen

NONE_OF_THESE = Cause("none_of_these")
# A single cause explains where its misfit is no more than this many standard deviations above its mean.
UNEXPLAINED_SIGMA = 3.0
# Beyond this square of standard deviations one part of the unit lies too far off to be sound.
LARGEST_STRAIN = 6.5
# Readings that no circuit makes lie about a sound unit's: half of them within this share, the rest in heavy tails.
WIDTH_SHARE = 0.25
LOG_KIND_WIDTH = 1.0
SMALLEST_DROP_SHARE, SMALLEST_SHARE = 0.02, 0.10


@dataclass(frozen=True, slots=True)
class Weighed:
    """Candidates with their posterior weights, which with `none_weight` make one."""

    problem: Problem
    fit: Fit
    weights: Floats
    none_weight: float

    def by_causes(self) -> dict[tuple[Cause, ...], list[int]]:
        """Return the places of the candidates of each set of causes."""
        found: dict[tuple[Cause, ...], list[int]] = {}
        for index, candidate in enumerate(self.fit.candidates):
            found.setdefault(candidate.causes, []).append(index)
        return found


def weigh(problem: Problem, confirmed_counts: dict[str, int]) -> Weighed:
    """Return every candidate weighed by prior, readings, outputs and lamps."""
    singles = _singles(problem, confirmed_counts)
    found = _held_against_lamps(problem, fit(problem, singles))
    log_weight = _log_weights(found)
    if not _explained(problem, found, log_weight):
        found, log_weight = _with_pairs(problem, found, log_weight)
    log_weight = _without_healthy_below_limit(problem, found, log_weight)
    log_none = float(np.log(priors.NONE_OF_THESE_PRIOR)) + _log_evidence_of_none(problem, singles[0])
    highest = max(float(log_weight.max()), log_none)
    weights, none_weight = np.exp(log_weight - highest), float(np.exp(log_none - highest))
    total = float(weights.sum()) + none_weight
    return Weighed(problem, found, weights / total, none_weight / total)


def _singles(problem: Problem, confirmed_counts: dict[str, int]) -> list[Candidate]:
    insulated = problem.evidence.return_path == "insulated"
    singles = single_candidates(problem.unit, _stages_in_question(problem), confirmed_counts, insulated=insulated)
    dropped = {observation.stage for observation in problem.observations if observation.kind == "coil_drop"}
    return [placed for one in singles for placed in with_each_coil(one, problem.unit, dropped)]


def _stages_in_question(problem: Problem) -> list[int]:
    """Return the stages that any reading bears on, all where none does; stages count from 0."""
    touched = {stage for o in problem.observations for stage in (*o.commanded, o.stage) if stage >= 0}
    return sorted(touched) or list(range(problem.unit.stages))


def _with_pairs(problem: Problem, found: Fit, log_weight: Floats) -> tuple[Fit, Floats]:
    worth_fitting = pairs_to_fit(problem, found, log_weight)
    if not worth_fitting:
        return found, log_weight
    pairs, log_pairs = _fitted_pairs(problem, worth_fitting)
    if not np.isfinite(log_pairs).any():
        return found, log_weight
    pairs, log_pairs = _fitted_pairs(problem, with_look_alikes(found, log_weight, pairs, log_pairs))
    return together(found, pairs), np.concatenate([log_weight, log_pairs])


def _fitted_pairs(problem: Problem, candidates: list[Candidate]) -> tuple[Fit, Floats]:
    """Return the pairs and their weights; one called in to explain that does not is no answer."""
    pairs = _held_against_lamps(problem, fit(problem, candidates))
    return pairs, np.where(pairs.misfit <= largest_misfit(problem), _log_weights(pairs), -np.inf)


def _held_against_lamps(problem: Problem, found: Fit) -> Fit:
    """Return the fit with outputs and lamps weighed in."""
    seen = log_seen(problem, found)
    return replace(found, log_evidence=found.log_evidence + seen, misfit=found.misfit - 2.0 * seen)


def _log_weights(found: Fit) -> Floats:
    log_prior = np.array([candidate.log_prior for candidate in found.candidates])
    return log_prior + found.log_evidence


def _explained(problem: Problem, found: Fit, log_weight: Floats) -> bool:
    """Return whether chance makes the misfit of the likeliest single cause, overall and in each direction."""
    best = found.take([int(np.argmax(log_weight))])
    if not problem.observations:
        return True
    return bool(best.misfit[0] <= largest_misfit(problem) and strain(problem, best) <= LARGEST_STRAIN)


def largest_misfit(problem: Problem) -> float:
    """Return the misfit that chance still makes: its mean and some standard deviations of its distribution."""
    looks = sum(reading.outputs_live is not None for reading in problem.evidence.stage_readings)
    count = len(problem.observations) + 0.2 * looks
    return float(count + UNEXPLAINED_SIGMA * np.sqrt(2 * count))


def _without_healthy_below_limit(problem: Problem, found: Fit, log_weight: Floats) -> Floats:
    """Return the weights with healthy struck out where the supply sags too far under full load."""
    if not below_full_load_limit(problem):
        return log_weight
    healthy = np.array([candidate.causes[0].code == "healthy" for candidate in found.candidates])
    return np.where(healthy, -np.inf, log_weight)


def below_full_load_limit(problem: Problem) -> bool:
    """Return whether the box voltage with all stages on was read below the user's limit."""
    apart, full_load = problem.evidence.apart, frozenset(range(problem.unit.stages))
    limit_v = None if apart is None else apart.limits.supply_voltage_low_v
    loaded = [o.value for o in problem.observations if o.kind == "volts" and o.commanded == full_load]
    return limit_v is not None and any(volts < limit_v for volts in loaded)


def _log_evidence_of_none(problem: Problem, sound: Candidate) -> float:
    """Return ln of the evidence for readings that scatter broadly about those of a sound unit."""
    # Slow to load, and asked for only where causes are weighed.
    from scipy.stats import cauchy

    at_medians = _shown_at_medians(problem, sound)
    widths = [_width(problem, o, shown) for o, shown in zip(problem.observations, at_medians.tolist(), strict=True)]
    return float(np.sum(cauchy.logpdf(problem.taken, at_medians, np.array(widths))))


def _shown_at_medians(problem: Problem, sound: Candidate) -> Floats:
    """Return what a sound unit with all parts at their medians would show."""
    start = starting_fit(problem, [sound])
    scene = scene_of(problem, [sound], start.topology, start.draws)
    return np.asarray(predicted(scene, problem.observations, problem.state_of)[0, 0])


def _width(problem: Problem, observation: Observation, shown: float) -> float:
    if observation.kind in ("coil_resistance", "insulation_resistance"):
        return LOG_KIND_WIDTH
    rating = problem.evidence.rating
    typical = min(rating.rated_currents_a) if observation.kind in CURRENT_KINDS else rating.system_voltage_v
    smallest = SMALLEST_DROP_SHARE if observation.kind.endswith("drop") else SMALLEST_SHARE
    return max(WIDTH_SHARE * abs(shown), smallest * typical)
