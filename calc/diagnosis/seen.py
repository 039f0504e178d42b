"""What lamps and a test lamp on the outputs say for each candidate."""

from collections.abc import Sequence

import numpy as np

from calc.arrays import Bools, Floats
from calc.diagnosis.candidates import Candidate
from calc.diagnosis.fit import Fit, Problem, scene_of
from calc.diagnosis.predict import outputs_live
from calc.evidence import StageReading

# Judgement: how often an output or a lamp is written down wrongly, or shows something else than it should.
OUTPUT_MISTAKE = 0.02
LAMP_MISTAKE = 0.08
# An output counts as live above this share of the system voltage.
LIVE_SHARE = 0.35


def log_seen(problem: Problem, fit: Fit) -> Floats:
    """Return ln of the likelihood of outputs live and lamps lit under each candidate."""
    readings = problem.evidence.stage_readings
    total = np.zeros(len(fit.candidates))
    tested = [reading for reading in readings if reading.outputs_live is not None]
    if tested:
        scene = scene_of(problem, fit.candidates, fit.topology, fit.draws)
        threshold_v = LIVE_SHARE * problem.evidence.rating.system_voltage_v
        for reading in tested:
            live = outputs_live(scene, problem.state(reading.energised), threshold_v)
            total += _log_agreement(live, set(reading.outputs_live or ()))
    for reading in readings:
        total += _log_lamps(problem, fit.candidates, reading)
    return total


def _log_agreement(expected: Bools, seen: set[int]) -> Floats:
    found = np.array([output + 1 in seen for output in range(expected.shape[1])])
    wrong = (expected != found).sum(axis=1)
    return np.asarray(wrong * np.log(OUTPUT_MISTAKE) + (expected.shape[1] - wrong) * np.log(1 - OUTPUT_MISTAKE))


def _log_lamps(problem: Problem, candidates: Sequence[Candidate], reading: StageReading) -> Floats:
    stages = problem.evidence.rating.stages
    if reading.lamps_lit is None or problem.evidence.relay_box.lamps != stages:
        return np.zeros(len(candidates))
    commanded = {stage - 1 for stage in reading.energised}
    lit = {lamp - 1 for lamp in reading.lamps_lit}
    wrong = (commanded ^ lit) & set(range(stages))
    return np.array([_log_lamps_of(candidate, wrong, stages) for candidate in candidates])


def _log_lamps_of(candidate: Candidate, wrong: set[int], stages: int) -> float:
    open_question = candidate.dark_lamps()
    right = set(range(stages)) - wrong - open_question
    told = len(wrong - open_question) * np.log(LAMP_MISTAKE) + len(right) * np.log(1 - LAMP_MISTAKE)
    return float(told + len(open_question) * np.log(0.5))
