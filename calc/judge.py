"""Judging: evidence in, judgements out."""

from collections.abc import Sequence
from itertools import groupby
from math import isfinite

from calc.actions import unit_action
from calc.answers import finite_or_none, stage_judgements
from calc.apart.parts import judged_apart
from calc.columns import columns_of
from calc.diagnosis.screen import Rank, ranked
from calc.evidence import Evidence
from calc.findings import findings_of, in_order
from calc.judgement import Judgement, StageJudgement, TorqueShareRange
from calc.method import METHOD_VERSION
from calc.stages import judge_columns
from calc.unit import unit_results
from calc.verdict import reasons_of, simple_unit_verdict, unit_verdict


def judge(evidence: Evidence, *, rank: Rank = "always") -> Judgement:
    """Return the judgement of one visit: a batch of one.

    Parameters
    ----------
    evidence : Evidence
        Readings, rating and meters; volts 0 to 1e6, amps from the ammeter's zero to 1e6, coil −60 to 400 °C.
    rank : {"always", "when_unfit", "never"}
        Whether the likely causes are ranked in full, only where the sound circuit does not fit, or merely screened.

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
    return judge_batch([evidence], rank=rank)[0]


def judge_batch(evidences: Sequence[Evidence], *, rank: Rank = "never") -> list[Judgement]:
    """Return the judgement of every visit, in the order given; `rank` as for one, but merely screened unless asked.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range; one bad visit refuses the batch.
    """
    columns = columns_of(evidences)
    results = judge_columns(columns)
    units = unit_results(columns, results)
    stages: list[list[StageJudgement]] = [[] for _ in evidences]
    answered = zip(results.rows.inspection.tolist(), stage_judgements(results, evidences), strict=True)
    for visit, group in groupby(answered, key=lambda pair: pair[0]):
        stages[visit] = [judged for _, judged in group]
    return [
        _judgement(evidence, rank, *parts)
        for evidence, *parts in zip(
            evidences,
            stages,
            zip(results.rest.meaning.tolist(), results.rest.subtracted_a.tolist(), strict=True),
            zip(units.imbalance.percent.tolist(), units.imbalance.expanded_uncertainty_percent.tolist(), strict=True),
            units.torque_percent.T.tolist(),
            units.healthy_probability.tolist(),
            strict=True,
        )
    ]


def _judgement(
    evidence: Evidence,
    rank: Rank,
    stages: list[StageJudgement],
    rest: tuple[int, float],
    imbalance: tuple[float, float],
    torque_percent: list[float],
    healthy_probability: float,
) -> Judgement:
    seen = findings_of(evidence, stages, rest[0])
    apart, found_apart, lines = judged_apart(evidence, seen, *rest)
    findings = in_order([*seen, *found_apart])
    reasons = reasons_of(evidence, stages, findings)
    defect_found = any(finding.severity == "defect" for finding in seen)
    torque = _torque_range(torque_percent)
    ranking = ranked(evidence, rank, healthy_probability, defect_found=defect_found)
    return Judgement(
        verdict=unit_verdict(reasons),
        verdict_reasons=tuple(reason for _, reason in reasons),
        stages=tuple(stages),
        imbalance_percent=finite_or_none(imbalance[0]),
        imbalance_expanded_uncertainty_percent=finite_or_none(imbalance[1]),
        torque_share_percent=torque_percent[0] if torque else None,
        torque_share_range_percent=torque,
        findings=findings,
        hypotheses=ranking.hypotheses,
        next_reading=ranking.next_reading,
        method_version=METHOD_VERSION,
        decision_rule=evidence.decision_rule,
        simple_verdict=simple_unit_verdict(reasons, stages),
        action=unit_action(reasons, stages),
        apart=apart,
        circuit_lines=lines,
    )


def _torque_range(torque_percent: list[float]) -> TorqueShareRange | None:
    if not all(map(isfinite, torque_percent)):
        return None
    square, linear, hot_square, hot_linear = torque_percent
    return TorqueShareRange(_ordered(square, linear), _ordered(hot_square, hot_linear))


def _ordered(one: float, other: float) -> tuple[float, float]:
    return min(one, other), max(one, other)
