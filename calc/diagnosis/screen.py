"""The cheap screen: does the sound circuit explain a visit, whole-unit lines included?"""

from collections.abc import Mapping, Sequence
from itertools import compress
from typing import Literal

from calc.diagnosis.candidates import cable_is_too_thin, sound_candidate
from calc.diagnosis.fit import Problem, starting_fit
from calc.diagnosis.observations import observations_of
from calc.diagnosis.rank import Ranking, rank
from calc.diagnosis.seen import log_seen
from calc.diagnosis.sound import SoundFit, sound_fits_of
from calc.diagnosis.unit import unit_of
from calc.diagnosis.weigh import below_full_load_limit, largest_misfit
from calc.evidence import Evidence
from calc.hypotheses import screened

Rank = Literal["always", "when_unfit", "never"]
# One part of the unit further off than this square of standard deviations has the visit ranked in full.
LARGEST_SOUND_STRAIN = 4.0
# What a visit that the sound circuit fits leaves for everything else.  Judgement.
SOUND_PROBABILITY = 0.98


def ranked(
    evidence: Evidence,
    how: Rank,
    healthy_probability: float,
    *,
    sound_fits: bool = False,
    defect_found: bool,
    confirmed_counts: Mapping[str, int] | None = None,
) -> Ranking:
    """Return a visit's likely causes, in full or, where the sound circuit fits, as the two answers of the screen.

    An electronic drive, whose average amps and volts no resistance relates, a unit whose type is not identified, whose
    circuit nobody knows, and a visit without readings are answered by the screen of the amps alone.
    """
    if how == "never" or not can_be_ranked(evidence):
        return _screen_only(evidence, healthy_probability, defect_found=defect_found)
    if how == "when_unfit" and not defect_found and sound_fits:
        return _screen_only(evidence, max(healthy_probability, SOUND_PROBABILITY), defect_found=False)
    return rank(evidence, confirmed_counts)


def can_be_ranked(evidence: Evidence) -> bool:
    """Return whether there are readings, of a known type and a drive whose amps and volts resistances relate."""
    known = evidence.rating.identified and evidence.relay_box.drive != "electronic"
    return known and bool(evidence.stage_readings or evidence.extra_readings)


def sound_fits(evidence: Evidence) -> bool:
    """Return whether a sound unit explains every reading, and no part of it has to lie oddly for that.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating, StageReading
    >>> rating = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> meters = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)
    >>> low, right = (StageReading(1, (1,), 13.76, amps) for amps in (30.1, 40.1))
    >>> [sound_fits(Evidence(rating, *meters, 20.0, 5.0, (reading,))) for reading in (low, right)]
    [False, True]
    """
    return sound_fits_each([evidence])[0]


def sound_fits_each(evidences: Sequence[Evidence]) -> list[bool]:
    """Return the same of each visit, in their order; visits that were read alike cost little more than one."""
    problems = [Problem.of(evidence, unit_of(evidence), observations_of(evidence)) for evidence in evidences]
    possible = [not (cable_is_too_thin(each.unit) or below_full_load_limit(each)) for each in problems]
    fits = iter(sound_fits_of(list(compress(problems, possible))))
    return [can and _fits(problem, next(fits)) for problem, can in zip(problems, possible, strict=True)]


def _fits(problem: Problem, found: SoundFit) -> bool:
    misfit = found.misfit - 2.0 * _log_seen(problem, found)
    return misfit <= largest_misfit(problem) and found.strain <= LARGEST_SOUND_STRAIN


def _log_seen(problem: Problem, found: SoundFit) -> float:
    readings = problem.evidence.stage_readings
    if all(reading.outputs_live is None and reading.lamps_lit is None for reading in readings):
        return 0.0
    whole = starting_fit(problem, [sound_candidate(problem.unit)])
    whole.draws[0, : len(found.draws)] = found.draws
    return float(log_seen(problem, whole)[0])


def _screen_only(evidence: Evidence, healthy_probability: float, *, defect_found: bool) -> Ranking:
    hypotheses = screened(healthy_probability, defect_found=defect_found)
    return Ranking(hypotheses, None, None, (None,) * evidence.rating.stages, None)
