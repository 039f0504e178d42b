"""The verdict on every unit of a batch, worked out on columns; what only some visits carry is looked at there alone."""

from collections.abc import Sequence

import numpy as np

from calc.apart.parts import NOTHING_APART, judged_apart
from calc.arrays import Bools, Ints
from calc.columns import energised_bits
from calc.conformity import FAIL, PASS, UNDETERMINED
from calc.errors import RELATIVE_SLACK
from calc.evidence import Evidence
from calc.findings import OVER_CURRENT_PERCENT, shows_otherwise_than_declared
from calc.rest import FLOWING
from calc.stages import DETERMINED, StageResults


def unit_verdicts(evidences: Sequence[Evidence], stages: StageResults, failed_by_themselves: Sequence[int]) -> Ints:
    """Return the unit verdict of every visit, as a place in VERDICTS.

    Parameters
    ----------
    evidences : sequence of Evidence
        The visits.
    stages : StageResults
        What their stages were judged to be.
    failed_by_themselves : sequence of int
        The visits to units without a rating that what they say about themselves fails.

    Notes
    -----
    The same worst of the same reasons as of a single judgement, without the sentences' figures.
    """
    visit, size = stages.rows.inspection, len(evidences)
    worst = np.full(size, PASS)
    np.maximum.at(worst, visit, stages.verdict)
    over = (stages.reason == DETERMINED) & (100 * stages.level > OVER_CURRENT_PERCENT * (1 + RELATIVE_SLACK))
    worst[visit[over]] = FAIL
    worst[list(failed_by_themselves)] = FAIL
    worst[stages.rest.meaning == FLOWING] = FAIL
    undetermined = _is_incomplete(evidences, stages)
    worst = np.where(undetermined, np.maximum(worst, UNDETERMINED), worst)
    for place in _carry_more(evidences):
        if worst[place] != FAIL and _has_a_defect_beside_the_amps(evidences[place], stages, place):
            worst[place] = FAIL
    return worst


def _is_incomplete(evidences: Sequence[Evidence], stages: StageResults) -> Bools:
    size = len(evidences)
    answered = np.zeros(size, dtype=np.int64)
    np.bitwise_or.at(answered, stages.rows.inspection, np.int64(1) << stages.rows.stage)
    required = np.array([energised_bits(evidence.required_stages) for evidence in evidences], dtype=np.int64)
    unread = np.array([len(evidence.stages_not_read) > 0 for evidence in evidences], dtype=np.bool_)
    forbidden = np.array([bool(e.calibration_required and e.calibration_faults) for e in evidences], dtype=np.bool_)
    incomplete: Bools = (required & ~answered != 0) | unread | forbidden | (answered == 0)
    return incomplete


def _carry_more(evidences: Sequence[Evidence]) -> list[int]:
    """Return the visits that say more than volts and amps: outputs, lamps, or what is judged apart."""
    looked_at = [
        [reading.outputs_live is not None or reading.lamps_lit is not None for reading in evidence.stage_readings]
        for evidence in evidences
    ]
    return [
        place
        for place, (evidence, looks) in enumerate(zip(evidences, looked_at, strict=True))
        if True in looks or not (evidence.apart is None or evidence.apart == NOTHING_APART)
    ]


def _has_a_defect_beside_the_amps(evidence: Evidence, stages: StageResults, place: int) -> bool:
    if shows_otherwise_than_declared(evidence):
        return True
    if evidence.apart is None:
        return False
    rest = stages.rest
    _, found, _ = judged_apart(evidence, (), int(rest.meaning[place]), float(rest.subtracted_a[place]))
    return any(finding.severity == "defect" for finding in found)
