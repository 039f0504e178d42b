"""The verdict on the whole unit: the worst of what was judged, and why it is not a plain pass."""

from collections.abc import Iterator, Sequence

from calc.conformity import VERDICTS
from calc.evidence import Evidence
from calc.judgement import Finding, StageJudgement, Verdict, VerdictReason

_RANK = {verdict: rank for rank, verdict in enumerate(VERDICTS)}
_CODE_OF_CLASS = {
    "fail": "outside_limits",
    "conditional_fail": "outside_not_certain",
    "conditional_pass": "inside_not_certain",
}
_CLASS_CODES = frozenset(_CODE_OF_CLASS.values())


def reasons_of(
    evidence: Evidence, stages: list[StageJudgement], findings: tuple[Finding, ...]
) -> tuple[tuple[Verdict, VerdictReason], ...]:
    """Return why the unit is not a plain pass, each reason with the verdict it calls for, worst first."""
    reasons = [
        *_defect_reasons(findings),
        *_stage_reasons(stages),
        *_unread_reasons(evidence, stages),
        *_calibration_reasons(evidence),
    ]
    return tuple(sorted(reasons, key=lambda reason: -_RANK[reason[0]]))


def unit_verdict(reasons: tuple[tuple[Verdict, VerdictReason], ...]) -> Verdict:
    """Return the worst verdict that any reason calls for, `pass` without one."""
    return reasons[0][0] if reasons else "pass"


def simple_unit_verdict(
    reasons: tuple[tuple[Verdict, VerdictReason], ...], stages: Sequence[StageJudgement]
) -> Verdict:
    """Return the unit's verdict on the same data under simple acceptance: only the stages' own classes differ."""
    others = [verdict for verdict, reason in reasons if reason.code not in _CLASS_CODES]
    simple = [judged.simple_verdict for judged in stages if judged.undetermined_reason is None]
    return max([*others, *simple, "pass"], key=lambda verdict: _RANK[verdict])


def _defect_reasons(findings: tuple[Finding, ...]) -> Iterator[tuple[Verdict, VerdictReason]]:
    for finding in findings:
        if finding.severity == "defect":
            yield "fail", VerdictReason(finding.code, finding.stage, finding.params)


def _stage_reasons(stages: list[StageJudgement]) -> Iterator[tuple[Verdict, VerdictReason]]:
    for judged in stages:
        if judged.undetermined_reason is not None:
            yield "undetermined", VerdictReason(judged.undetermined_reason, judged.stage, {})
        elif judged.verdict != "pass":
            yield judged.verdict, VerdictReason(_CODE_OF_CLASS[judged.verdict], judged.stage, _figures(judged))


def _figures(judged: StageJudgement) -> dict[str, float | str]:
    figures = {
        "normalised_current_a": judged.normalised_current_a,
        "expanded_uncertainty_a": judged.expanded_uncertainty_a,
        "lower_limit_a": judged.lower_limit_a,
        "upper_limit_a": judged.upper_limit_a,
    }
    return {name: value for name, value in figures.items() if value is not None}


def _calibration_reasons(evidence: Evidence) -> Iterator[tuple[Verdict, VerdictReason]]:
    if evidence.calibration_required:
        for meter, fault in evidence.calibration_faults:
            yield "undetermined", VerdictReason("calibration_not_valid", None, {"meter": meter, "fault": fault})


def _unread_reasons(evidence: Evidence, stages: list[StageJudgement]) -> Iterator[tuple[Verdict, VerdictReason]]:
    answered = {judged.stage for judged in stages}
    unread = set(evidence.stages_not_read) | (set(evidence.required_stages) - answered)
    for stage in sorted(unread):
        yield "undetermined", VerdictReason("stage_not_read", stage, {})
    if not stages and not unread:
        yield "undetermined", VerdictReason("no_readings", None, {})
