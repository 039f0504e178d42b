"""Ranking: from one visit's readings to its likely causes and the reading to take next."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np

from calc.diagnosis.candidates import Cause
from calc.diagnosis.choice import Chosen, choose
from calc.diagnosis.entries import hypotheses_of
from calc.diagnosis.fit import Problem, scene_of
from calc.diagnosis.observations import ISOLATED_KINDS, expected_value, observations_of
from calc.diagnosis.offers import Spot
from calc.diagnosis.safety import safety_of
from calc.diagnosis.slots import CHASSIS_GROUND, RETARDER_GROUND, SOURCE, SUPPLY, Slots
from calc.diagnosis.unit import unit_of
from calc.diagnosis.weigh import Weighed, weigh
from calc.diagnosis.witnesses import Witness, witnesses_of
from calc.evidence import Evidence
from calc.hypotheses import REASONS_TO_READ
from calc.judgement import Expectation, Hypothesis, NextReading


@dataclass(frozen=True, slots=True)
class Ranking:
    """Likely causes, the next reading, and the resistances of the likeliest circuit.  [Ω]

    `stage_ohm` is each stage's loop from stud to frame, None where it is open; resistances are None where nothing was
    read or no circuit explains the readings.  `witnesses` holds, by cause and stage, the reading that speaks for each.
    No input of `hot_stages` (from 1) may be commanded again, and none at all where the supply `collapsed`.
    """

    hypotheses: tuple[Hypothesis, ...]
    next_reading: NextReading | None
    upstream_ohm: float | None
    stage_ohm: tuple[float | None, ...]
    shared_ground_ohm: float | None
    witnesses: Mapping[tuple[str, int | None], Witness] = field(default_factory=dict)
    hot_stages: tuple[int, ...] = ()
    collapsed: bool = False


OPEN_ABOVE_OHM = 1e4


def rank(
    evidence: Evidence,
    confirmed_counts: Mapping[str, int] | None = None,
    out_of_reach: Collection[Spot] = (),
) -> Ranking:
    """Return the likely causes of one visit's readings, most probable first.

    Parameters
    ----------
    evidence : Evidence
        Readings, rating, meters, cables and relay box.
    confirmed_counts : mapping, optional
        How often each cause has been confirmed by a repair; it moves the prior from judgement to experience.
    out_of_reach : collection, optional
        Readings that cannot be taken, as (kind, stage, coil) counted from 1: none of them is asked for.

    Returns
    -------
    Ranking
        Probabilities sum to one; causes that the readings cannot tell apart share a group.

    References
    ----------
    R. E. Kass, A. E. Raftery, "Bayes factors", Journal of the American Statistical Association 90 (1995) 773-795, for
    the weighing of causes; D. V. Lindley, "On a measure of the information provided by an experiment", Annals of
    Mathematical Statistics 27 (1956) 986-1005, for the choice of the next reading.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating, RestReading, StageReading
    >>> rating = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> alone = [(13.76, 40.1), (13.76, 40.1), (14.0, 0.0), (13.76, 40.1)]
    >>> readings = tuple(StageReading(k, (k,), volts, amps) for k, (volts, amps) in enumerate(alone, start=1))
    >>> meters = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)
    >>> ranking = rank(Evidence(rating, *meters, 20.0, 5.0, readings, rest=RestReading(14.0, 0.0)))
    >>> sorted(cause.cause for cause in ranking.hypotheses if cause.group == 1)
    ['blown_fuse', 'contact_not_closing', 'open_stage_lead']
    >>> ranking.next_reading.kind, ranking.next_reading.stage
    ('output_voltage', 3)
    """
    problem = Problem.of(evidence, unit_of(evidence), observations_of(evidence))
    weighed = weigh(problem, dict(confirmed_counts or {}))
    chosen = choose(weighed, out_of_reach)
    safety = safety_of(problem)
    upstream_ohm, stage_ohm, shared_ground_ohm = _resistances(weighed)
    return Ranking(
        hypotheses_of(weighed),
        None if chosen is None else _next_reading(chosen),
        upstream_ohm,
        stage_ohm,
        shared_ground_ohm,
        witnesses_of(weighed),
        tuple(sorted(stage + 1 for stage in safety.hot_stages)),
        safety.collapsed,
    )


def _next_reading(chosen: Chosen) -> NextReading:
    asked = chosen.observation
    expected: dict[tuple[str, int | None], Expectation] = {}
    for causes, compared in chosen.expected:
        for cause, stage in _named(causes):
            value = expected_value(asked.kind, compared)
            expected.setdefault((cause, stage), Expectation(cause, stage, value))
    return NextReading(
        kind=asked.kind,
        stage=asked.stage + 1 if asked.stage >= 0 else None,
        coil=asked.coil + 1 if asked.coil >= 0 else None,
        energised=tuple(sorted(stage + 1 for stage in asked.commanded)),
        state="isolated" if asked.kind in ISOLATED_KINDS else "running",
        why=REASONS_TO_READ[asked.kind],
        expected=tuple(expected.values()),
    )


def _named(causes: tuple[Cause, ...]) -> list[tuple[str, int | None]]:
    return [(cause.code, stage) for cause in causes for stage in cause.stages or (None,)]


def _resistances(weighed: Weighed) -> tuple[float | None, tuple[float | None, ...], float | None]:
    """Return upstream, stage and shared-ground resistance of the likeliest candidate at its fit.  [Ω]"""
    problem, stages = weighed.problem, weighed.problem.unit.stages
    if not problem.observations or weighed.none_weight > 0.5:
        return None, (None,) * stages, None
    best = weighed.fit.take([int(np.argmax(weighed.weights))])
    scene = scene_of(problem, best.candidates, best.topology, best.draws)
    row, slots = scene.rows[0, 0], Slots(stages)
    in_box_ohm = [row[slots.fuse(stage)] + row[slots.contact(stage)] for stage in range(stages)]
    loops_ohm = [float(box + lead) for box, lead in zip(in_box_ohm, scene.solved.lead_ohm[0, 0], strict=True)]
    upstream_ohm = float(row[SOURCE] + row[SUPPLY] + row[CHASSIS_GROUND])
    return (
        upstream_ohm if upstream_ohm < OPEN_ABOVE_OHM else None,
        tuple(ohm if ohm < OPEN_ABOVE_OHM else None for ohm in loops_ohm),
        float(row[RETARDER_GROUND]),
    )
