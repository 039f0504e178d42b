"""What is to be said beside the amps of one visit."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from math import isfinite

from calc.budget import HEATING_WHILE_ON_K_PER_S
from calc.columns import ASSUMED_REFERENCE_TEMPERATURE_BOUND_C
from calc.errors import RELATIVE_SLACK
from calc.evidence import Evidence, StageReading
from calc.judgement import Finding, Parameters, Severity, StageJudgement
from calc.pooling import PROMPT_SECONDS
from calc.rest import FLOWING, HIGHEST_ZERO_SHARE_OF_RATED, NEGATIVE, NOT_READ, SUBTRACTED, own_stage_a
from calc.temperature import coil_temperature

# A reading's stage, the inputs commanded, and what was seen live or lit.
Look = tuple[int, tuple[int, ...], tuple[int, ...]]

OVER_CURRENT_PERCENT = 130.0
_SEVERITY_ORDER = {"defect": 0, "caution": 1, "note": 2}
_REST: dict[int, tuple[str, Severity]] = {
    FLOWING: ("rest_current", "defect"),
    NEGATIVE: ("rest_current_negative", "caution"),
    SUBTRACTED: ("rest_current_subtracted", "note"),
    NOT_READ: ("rest_not_read", "note"),
}


def findings_of(evidence: Evidence, stages: list[StageJudgement], rest_meaning: int) -> list[Finding]:
    """Return the findings of one visit's readings, in no order."""
    return [
        *_rest_findings(evidence, rest_meaning),
        *_output_findings(evidence),
        *_lamp_findings(evidence),
        *_stage_findings(evidence, stages),
        *_temperature_findings(evidence),
        *_late_findings(evidence),
        *_unchecked(evidence),
    ]


def shows_otherwise_than_declared(evidence: Evidence) -> bool:
    """Return whether an output or a lamp was seen that the box does not declare, or one is missing."""
    return any(True for looks in (_output_findings, _lamp_findings) for _finding in looks(evidence))


def in_order(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings defects first."""
    return tuple(sorted(found, key=lambda finding: (_SEVERITY_ORDER[finding.severity], finding.stage or 0)))


def _late_findings(evidence: Evidence) -> Iterator[Finding]:
    late_s = [
        r.seconds_on for r in evidence.stage_readings if r.seconds_on is not None and r.seconds_on > PROMPT_SECONDS
    ]
    if late_s:
        longest_s = float(max(late_s))
        warmer_c = HEATING_WHILE_ON_K_PER_S * (longest_s - PROMPT_SECONDS)
        yield Finding("read_late", "note", None, {"seconds_on": longest_s, "warmer_c": warmer_c})


def _rest_findings(evidence: Evidence, rest_meaning: int) -> Iterator[Finding]:
    if rest_meaning not in _REST:
        return
    code, severity = _REST[rest_meaning]
    params: dict[str, float | str] = {}
    if evidence.rest is not None:
        params = {"current_a": evidence.rest.current_a, "supply_voltage_v": evidence.rest.supply_voltage_v}
        stage_a = _stage_a(evidence, evidence.rest.current_a)
        if isfinite(stage_a):
            params["largest_zero_a"] = HIGHEST_ZERO_SHARE_OF_RATED * stage_a
    yield Finding(code, severity, None, params)


def _stage_a(evidence: Evidence, rest_current_a: float) -> float:
    if evidence.rating.identified:
        return min(evidence.rating.rated_currents_a)
    alone = [reading.current_a for reading in evidence.stage_readings if len(set(reading.energised)) == 1]
    return own_stage_a(alone, rest_current_a)


def _output_findings(evidence: Evidence) -> Iterator[Finding]:
    looked_at = {
        (reading.stage, reading.energised, tuple(sorted(set(reading.outputs_live))))
        for reading in evidence.stage_readings
        if reading.outputs_live is not None
    }
    yield from _mismatches("output_mismatch", looked_at, partial(_declared_outputs, evidence), numbered=True)


def _mismatches(
    code: str,
    looked_at: set[Look],
    expected_of: Callable[[tuple[int, ...]], tuple[int, ...] | None],
    *,
    numbered: bool,
) -> Iterator[Finding]:
    """Say once about each stage that what was seen is not what the box declares; fewest inputs on first.

    Where outputs or lamps are numbered as the stages are, a step that shows another stage's fault again is about that
    stage.
    """
    told = set()
    for stage, energised, seen in sorted(looked_at, key=lambda look: (len(look[1]), look)):
        expected = expected_of(energised)
        if expected is None or seen == expected:
            continue
        differing = set(expected) ^ set(seen)
        about = stage if stage in differing or not numbered else min(differing)
        if about not in told:
            told.add(about)
            yield Finding(code, "defect", about, _seen_params(energised, expected, seen))


def _declared_outputs(evidence: Evidence, energised: tuple[int, ...]) -> tuple[int, ...]:
    by_input = evidence.relay_box.outputs_by_input
    if by_input is None:
        return tuple(sorted(set(energised)))
    return tuple(sorted({output for control_input in energised for output in by_input[control_input - 1]}))


def _lamp_findings(evidence: Evidence) -> Iterator[Finding]:
    looked_at = {
        (reading.stage, reading.energised, tuple(sorted(set(reading.lamps_lit))))
        for reading in evidence.stage_readings
        if reading.lamps_lit is not None
    }
    numbered = evidence.relay_box.lamps == evidence.rating.stages
    yield from _mismatches("lamp_mismatch", looked_at, partial(_expected_lamps, evidence), numbered=numbered)


def _expected_lamps(evidence: Evidence, energised: tuple[int, ...]) -> tuple[int, ...] | None:
    lamps = evidence.relay_box.lamps
    if lamps == evidence.rating.stages:
        return tuple(sorted(set(energised)))
    return (1,) if lamps == 1 else None


def _seen_params(energised: tuple[int, ...], expected: tuple[int, ...], seen: tuple[int, ...]) -> Parameters:
    return {"energised": _listed(energised), "expected": _listed(expected), "seen": _listed(seen)}


def _listed(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, sorted(set(numbers))))


def _stage_findings(evidence: Evidence, stages: list[StageJudgement]) -> Iterator[Finding]:
    for judged in stages:
        if judged.level_percent is not None and judged.level_percent > OVER_CURRENT_PERCENT * (1 + RELATIVE_SLACK):
            params = {"level_percent": judged.level_percent, "limit_percent": OVER_CURRENT_PERCENT}
            yield Finding("over_current", "defect", judged.stage, params)
        if judged.capability is not None and judged.capability < 1:
            severity: Severity = "note" if evidence.decision_rule == "simple" else "caution"
            yield Finding("not_capable", severity, judged.stage, _incapable_params(judged, judged.capability))


def _incapable_params(judged: StageJudgement, capability: float) -> Parameters:
    dominant = judged.budget[0]
    return {
        "capability": capability,
        "dominant_source": dominant.source,
        "dominant_variance_share": dominant.variance_share,
    }


def _temperature_findings(evidence: Evidence) -> Iterator[Finding]:
    coil = coil_temperature(evidence)
    params: dict[str, float | str] = {
        "coil_temperature_c": coil.temperature_c,
        "coil_temperature_bound_c": coil.bound_c,
    }
    if coil.assumed:
        yield Finding("coil_temperature_assumed", "note", None, params)
    if coil.worked_out:
        yield Finding("coil_temperature_worked_out", "note", None, params)
    if coil.below_usual_bound_c is not None:
        params["usual_bound_c"] = coil.below_usual_bound_c
        params["method"] = evidence.coil_temperature_method or ""
        yield Finding("temperature_bound_below_usual", "note", None, params)
    if evidence.rating.reference_temperature_assumed:
        reference_c = evidence.rating.reference_temperature_c
        bound_c = ASSUMED_REFERENCE_TEMPERATURE_BOUND_C
        assumed: dict[str, float | str] = {"reference_temperature_c": reference_c, "bound_c": bound_c}
        yield Finding("reference_temperature_assumed", "note", None, assumed)


def _unchecked(evidence: Evidence) -> Iterator[Finding]:
    if evidence.rating.identified and not evidence.rating.reference_voltage_v:
        yield Finding("reference_voltage_unknown", "note", None, {})
    if evidence.rating.tolerance_assumed:
        yield Finding("tolerance_assumed", "note", None, _tolerance_params(evidence))
    if evidence.rating.stages > 1 and not any(_is_cumulative(reading) for reading in evidence.stage_readings):
        yield Finding("shared_ground_not_tested", "note", None, {})
    if evidence.engine_state == "off":
        yield Finding("supply_not_tested", "note", None, {})
    for meter, fault in evidence.calibration_faults:
        yield Finding("calibration_not_valid", "caution", None, {"meter": meter, "fault": fault})
    if evidence.stages_not_read:
        yield Finding("stages_not_read", "note", None, {"stages": _listed(evidence.stages_not_read)})


def _tolerance_params(evidence: Evidence) -> Parameters:
    sides = (evidence.rating.tolerance_lower_percent, evidence.rating.tolerance_upper_percent)
    return {"tolerance_percent": max((side for side in sides if side is not None), default=0.0)}


def _is_cumulative(reading: StageReading) -> bool:
    return len(set(reading.energised)) > 1
