"""Judging: evidence in, judgements out."""

from collections.abc import Sequence
from itertools import groupby
from math import isfinite

from calc.answers import finite_or_none, stage_judgements
from calc.columns import columns_of
from calc.evidence import Evidence
from calc.findings import findings_of
from calc.hypotheses import screened
from calc.judgement import Judgement, StageJudgement, TorqueShareRange
from calc.method import METHOD_VERSION
from calc.stages import judge_columns
from calc.unit import unit_results
from calc.verdict import reasons_of, unit_verdict


def judge(evidence: Evidence) -> Judgement:
    """Return the judgement of one visit: a batch of one.

    Parameters
    ----------
    evidence : Evidence
        Readings, rating and meters; volts 0 to 1e6, amps from the ammeter's zero to 1e6, coil −60 to 400 °C.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    References
    ----------
    GUM (JCGM 100:2008); JCGM 106:2012; ILAC-G8:09/2019; IEC 60028:1925.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating, StageReading
    >>> rating = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> reading = StageReading(stage=1, energised=(1,), supply_voltage_v=13.76, current_a=40.1)
    >>> judged = judge(Evidence(rating, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 20.0, 5.0, (reading,))).stages[0]
    >>> judged.verdict, round(judged.normalised_current_a, 2), round(judged.expanded_uncertainty_a, 2)
    ('pass', 34.97, 1.55)
    """
    return judge_batch([evidence])[0]


def judge_batch(evidences: Sequence[Evidence]) -> list[Judgement]:
    """Return the judgement of every visit, in the order given.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range; one bad visit refuses the batch.
    """
    columns = columns_of(evidences)
    results = judge_columns(columns)
    units = unit_results(columns, results)
    stages: list[list[StageJudgement]] = [[] for _ in evidences]
    answered = zip(results.rows.inspection.tolist(), stage_judgements(results), strict=True)
    for visit, group in groupby(answered, key=lambda pair: pair[0]):
        stages[visit] = [judged for _, judged in group]
    return [
        _judgement(evidence, *parts)
        for evidence, *parts in zip(
            evidences,
            stages,
            results.rest.meaning.tolist(),
            units.imbalance_percent.tolist(),
            units.torque_percent.T.tolist(),
            units.healthy_probability.tolist(),
            strict=True,
        )
    ]


def _judgement(
    evidence: Evidence,
    stages: list[StageJudgement],
    rest_meaning: int,
    imbalance_percent: float,
    torque_percent: list[float],
    healthy_probability: float,
) -> Judgement:
    findings = findings_of(evidence, stages, rest_meaning)
    reasons = reasons_of(evidence, stages, findings)
    defect_found = any(finding.severity == "defect" for finding in findings)
    torque = _torque_range(torque_percent)
    return Judgement(
        verdict=unit_verdict(reasons),
        verdict_reasons=tuple(reason for _, reason in reasons),
        stages=tuple(stages),
        imbalance_percent=finite_or_none(imbalance_percent),
        torque_share_percent=torque_percent[0] if torque else None,
        torque_share_range_percent=torque,
        findings=findings,
        hypotheses=screened(healthy_probability, defect_found=defect_found),
        next_reading=None,
        method_version=METHOD_VERSION,
        decision_rule=evidence.decision_rule,
    )


def _torque_range(torque_percent: list[float]) -> TorqueShareRange | None:
    if not all(map(isfinite, torque_percent)):
        return None
    square, linear, hot_square, hot_linear = torque_percent
    return TorqueShareRange(_ordered(square, linear), _ordered(hot_square, hot_linear))


def _ordered(one: float, other: float) -> tuple[float, float]:
    return min(one, other), max(one, other)
