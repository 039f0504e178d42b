"""A judgement, and an inspection with its judgement, as the API answers them."""

from collections.abc import Mapping
from typing import Any

from inspections.documents import parsed_document
from inspections.models import ExtraReading, Inspection, Judgement
from inspections.sentences import CAUTION, sentence
from inspections.sentences_apart import settling_sentence
from inspections.services.judging import Result

CLIENT_KEYS = [
    "coil_temperature_c",
    "coil_temperature_bound_c",
    "rest",
    "stage_readings",
    "extra_readings",
    "stages_not_read",
    "retest_of",
    "notes",
    "temperature_inputs",
    "limits",
    "battery",
    "control_check",
    "mechanical_survey",
]


def judgement_answer(result: Result) -> dict[str, Any]:
    """Return a judgement with a sentence beside every code."""
    return {
        **result,
        "stages": [_with_settling_text(stage) for stage in result["stages"]],
        "verdict_reasons": [_with_text(reason) for reason in result["verdict_reasons"]],
        "findings": [_with_text(finding) for finding in result["findings"]],
        "hypotheses": [_with_remedy(hypothesis) for hypothesis in result["hypotheses"]],
        "next_reading": _with_reason(result["next_reading"]),
        "caution": str(CAUTION),
    }


def inspection_row(inspection: Inspection) -> dict[str, Any]:
    """Return a stored inspection without its judgement's figures, as a list shows it."""
    document = parsed_document(inspection.evidence)
    vehicle = inspection.installation.vehicle
    return {
        "id": inspection.uuid,
        "installation": inspection.installation.uuid,
        "vehicle": {"id": vehicle.uuid, "fleet_number": vehicle.fleet_number, "registration": vehicle.registration},
        "depot": {"id": inspection.depot.uuid, "name": inspection.depot.name},
        "performed_at": inspection.performed_at,
        "performed_on": inspection.performed_on,
        "received_at": inspection.received_at,
        "recorded_by": inspection.recorded_by.username,
        "purpose": inspection.purpose,
        "engine_state": inspection.engine_state,
        "coil_temperature_method": inspection.coil_temperature_method,
        "ammeter": document["ammeter"]["id"],
        "voltmeter": document["voltmeter"]["id"],
        **{key: document.get(key) for key in CLIENT_KEYS},
        "clock_ahead": inspection.clock_ahead,
        "signed_at": inspection.signed_at,
        "signed_by": inspection.signed_by and inspection.signed_by.username,
        "superseded_by": inspection.superseded_by and inspection.superseded_by.uuid,
        "superseded_reason": inspection.superseded_reason,
        "verdict": inspection.verdict,
        "decision_rule": inspection.decision_rule,
        "method_version": inspection.method_version,
        "changed_at": inspection.changed_at,
    }


def inspection_answer(inspection: Inspection, judgement: Judgement, result: Result) -> dict[str, Any]:
    """Return a stored inspection with the judgement's fields beside its own, as an assessment would answer them."""
    given = {
        "number": judgement.number,
        "judged_at": judgement.judged_at,
        "judged_by": judgement.judged_by and judgement.judged_by.username,
        "reason": judgement.reason,
        "rating_revision": judgement.rating_revision.number,
    }
    answer = judgement_answer(result)
    return {**inspection_row(inspection), **answer, "judgement": {**given, **answer}}


def extra_reading_answer(reading: ExtraReading, result: Result) -> dict[str, Any]:
    """Return a stored extra reading with the likely causes as they stand."""
    answer = judgement_answer(result)
    return {
        "id": reading.uuid,
        "inspection": reading.inspection.uuid,
        **{key: getattr(reading, key) for key in ("kind", "stage", "coil", "energised", "over_range", "received_at")},
        "value": parsed_document(reading.value, "value"),
        "hypotheses": answer["hypotheses"],
        "next_reading": answer["next_reading"],
    }


def _with_settling_text(stage: Mapping[str, Any]) -> dict[str, Any]:
    settle = stage.get("settle")
    return {**stage, "settle": settle and {**settle, "text": settling_sentence(settle)}}


def _with_text(coded: Mapping[str, Any]) -> dict[str, Any]:
    return {**coded, "text": sentence(coded["code"], coded["params"])}


def _with_reason(next_reading: Mapping[str, Any] | None) -> dict[str, Any] | None:
    return None if next_reading is None else {**next_reading, "why": sentence(next_reading["why"], {})}


def _with_remedy(hypothesis: Mapping[str, Any]) -> dict[str, Any]:
    return {**hypothesis, "remedy": sentence(hypothesis["remedy"], {})}
