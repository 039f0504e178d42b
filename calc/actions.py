"""What to do next about a verdict: one action for each stage and one for the unit."""

from collections.abc import Sequence

from calc.judgement import Action, Finding, Settlement, StageJudgement, Verdict, VerdictReason

_BY_REASON: dict[str, Action] = {
    "stage_not_read": "read_the_rest",
    "no_readings": "read_the_rest",
    "step_without_predecessor": "read_the_rest",
    "reference_voltage_unknown": "ask_for_the_rating",
    "tolerance_unknown": "ask_for_the_rating",
    "electronic_drive": "no_absolute_verdict",
    "type_not_identified": "identify_the_type",
}
# Of a unit whose type is not identified: what its type is matters less than what is wrong with it.
_UNLIKE = frozenset({"stage_unlike_the_others", "stages_unlike", "stage_unlike_its_history"})
# In the order of what costs least.
_BY_INPUT: dict[str, Action] = {
    "coil_temperature": "read_again_cold",
    "ammeter": "better_clamp",
    "voltmeter": "better_voltmeter",
}


def stage_action(
    verdict: Verdict, undetermined_reason: str | None, settle: Settlement | None, u_by_source_a: dict[str, float]
) -> Action:
    """Return what to do about one stage.

    Between clear inside and clear outside it is what alone could settle the stage, the cheapest first; where nothing
    alone could, the input that contributes most.

    Examples
    --------
    >>> stage_action("conditional_fail", None, None, {"ammeter": 0.6, "coil_temperature": 0.2})
    'better_clamp'
    """
    if verdict == "pass":
        return "good"
    if verdict == "fail":
        return "find_the_fault"
    if undetermined_reason is not None:
        return _BY_REASON.get(undetermined_reason, "check_the_meters")
    if settle and settle.more_readings == "would_do":
        return "read_again"
    alone = {single.source for single in settle.single_inputs} if settle else set()
    candidates = [source for source in _BY_INPUT if source in alone]
    return _BY_INPUT[candidates[0] if candidates else max(_BY_INPUT, key=lambda name: u_by_source_a.get(name, 0.0))]


def unit_action(
    reasons: Sequence[tuple[Verdict, VerdictReason]],
    stages: Sequence[StageJudgement],
    findings: Sequence[Finding] = (),
) -> Action:
    """Return what to do about the unit: what its worst reason calls for, or a stage that is unlike itself or others.

    Examples
    --------
    >>> unit_action((), ())
    'good'
    >>> unit_action((("undetermined", VerdictReason("stage_not_read", 2, {})),), ())
    'read_the_rest'
    """
    if not reasons:
        return "good"
    worst, reason = reasons[0]
    if worst == "fail" or any(finding.code in _UNLIKE for finding in findings):
        return "find_the_fault"
    if reason.code in _BY_REASON:
        return _BY_REASON[reason.code]
    by_stage = {judged.stage: judged.action for judged in stages}
    return by_stage.get(reason.stage or 0, "check_the_meters")
