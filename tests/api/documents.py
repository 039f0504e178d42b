"""Bodies to post: an assessment, and any body with one place changed or left out."""

import copy
import json
from typing import Any

from tests.builders import CLAMP, VOLTMETER, single_pass

RATING = {
    "stages": 4,
    "rated_current_a": 35.5,
    "reference_voltage_v": 14.0,
    "reference_temperature_c": 20.0,
    "tolerance_percent": 10.0,
    "system_voltage_v": 12,
    "coils_in_series": 2,
    "coils_in_parallel": 2,
}
REST = {"supply_voltage_v": 14.2, "current_a": 0.0}
EXTRA_READING = {"kind": "output_voltage", "stage": 1, "value": 13.67, "energised": [1]}
PLACEHOLDER = "a literal stands here"


def assessment_document(**fields: Any) -> dict[str, Any]:
    """Return an assessment of a healthy unit, unless the fields say otherwise."""
    return {
        "rating": copy.deepcopy(RATING),
        "ammeter": dict(CLAMP),
        "voltmeter": dict(VOLTMETER),
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 3.0,
        "coil_temperature_method": "parked",
        "engine_state": "idle",
        "stage_readings": single_pass(),
        **fields,
    }


def with_literal(document: dict[str, Any], pointer: str, literal: str) -> bytes:
    """Return the document as JSON with one place replaced by a literal, which need not be what Python could write."""
    changed = copy.deepcopy(document)
    *way, last = (int(step) if step.isdigit() else step for step in pointer.removeprefix("#/").split("/"))
    place: Any = changed
    for step in way:
        place = place[step]
    place[last] = PLACEHOLDER
    return json.dumps(changed).replace(json.dumps(PLACEHOLDER), literal).encode()


def without(document: dict[str, Any], *keys: str) -> dict[str, Any]:
    """Return the document without some of its keys."""
    return {key: value for key, value in document.items() if key not in keys}


def exactly(answer: Any) -> Any:
    """Return the body of an answer with its numbers as digits, whatever the order of its keys."""
    return json.loads(answer.content, parse_float=str)
