"""A draft as the document that the services judge or record."""

import datetime as dt
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any
from uuid import UUID

from dashboard.checks.drafts import Draft
from inspections.documents import parsed_document

READING_KEYS = ["stage", "energised", "supply_voltage_v", "current_a", "seconds_on", "outputs_live", "lamps_lit"]

BESIDE_THE_STAGES = ["rest", "battery", "control_check", "mechanical_survey"]


def conditions_document(draft: Draft) -> dict[str, Any]:
    """Return what is known before anything is switched on."""
    return {
        "installation": UUID(draft["installation"]),
        "ammeter": UUID(draft["ammeter"]),
        "voltmeter": UUID(draft["voltmeter"]),
        **_hours_parked(draft),
        **_present(
            draft, ["coil_temperature_method", "coil_temperature_c", "coil_temperature_bound_c", "engine_state"]
        ),
    }


def _hours_parked(draft: Draft) -> dict[str, Any]:
    if draft.get("coil_temperature_method") != "parked" or not draft.get("hours_parked"):
        return {}
    return {"temperature_inputs": {"hours_parked": Decimal(draft["hours_parked"])}}


def judging_document(draft: Draft, readings: Iterable[Mapping[str, Any]] | None = None) -> dict[str, Any]:
    """Return the draft as something to judge: with these readings, or with its own."""
    chosen = stage_readings(draft) if readings is None else [parsed_document(dict(reading)) for reading in readings]
    return {**conditions_document(draft), **_present(draft, BESIDE_THE_STAGES), "stage_readings": chosen}


def recording_document(draft: Draft) -> dict[str, Any]:
    """Return the draft as the inspection to store, unsigned: it is signed where its verdict is seen."""
    return {
        **judging_document(draft),
        "id": UUID(draft["id"]),
        "performed_at": dt.datetime.fromisoformat(draft["performed_at"]),
        "purpose": draft.get("purpose") or "routine",
        "cautions": draft["cautions"],
        "stages_not_read": [
            {"stage": int(stage), "reason": reason} for stage, reason in sorted(draft["not_read"].items())
        ],
        "retest_of": [UUID(defect) for defect in draft.get("retest_of") or []],
        "sign": False,
        **_present(draft, ["notes", "extra_readings", "supersede_reason"]),
        **({"supersedes": UUID(draft["supersedes"])} if draft.get("supersedes") else {}),
    }


def stage_readings(draft: Draft) -> list[dict[str, Any]]:
    """Return the readings in the order of a check: each stage alone, then together; earlier repeats first."""
    taken = [*draft.get("repeats", []), *draft["readings"].values()]
    ordered = sorted(taken, key=lambda reading: (len(reading["energised"]), reading["stage"]))
    return [_given(parsed_document(dict(reading))) for reading in ordered]


def _given(reading: Mapping[str, Any]) -> dict[str, Any]:
    return {key: reading[key] for key in READING_KEYS if reading.get(key) is not None}


def _present(draft: Draft, keys: Iterable[str]) -> dict[str, Any]:
    return {key: parsed_document(draft[key], key) for key in keys if draft.get(key) not in (None, "")}
