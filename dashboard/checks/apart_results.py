"""What was found beside the amps, item by item, with the limits of the day: for the result and the working."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _

from calc.apart.surveys import item_state
from calc.evidence_apart import CONTROL_ITEMS, MECHANICAL_ITEMS
from inspections.actions import STATES
from inspections.evidence_apart import survey_item
from inspections.models import Inspection
from inspections.survey_items import item_word

BATTERY_WORDS = {
    "at_rest_v": (_("Battery at rest"), "V"),
    "charging_v": (_("Battery while charging"), "V"),
    "all_stages_on_v": (_("Battery, all stages on"), "V"),
    "after_10_s_v": (_("Battery, ten seconds later"), "V"),
    "alternator_rated_a": (_("Alternator, rated"), "A"),
}
LIMIT_WORDS = {
    "supply_voltage_low_v": (_("Box under load, at least"), "V"),
    "supply_voltage_high_v": (_("Box, at most"), "V"),
    "upstream_resistance_mohm": (_("Before the box, at most"), "mΩ"),
    "shared_ground_resistance_mohm": (_("Shared ground, at most"), "mΩ"),
    "battery_at_rest_low_v": (_("Battery at rest, at least"), "V"),
    "charging_low_v": (_("While charging, at least"), "V"),
    "charging_high_v": (_("While charging, at most"), "V"),
    "cable_drop_v": (_("Lost in the cables, at most"), "V"),
}


def found_apart(check: Inspection) -> dict[str, Any]:
    """Return what was looked at beside the amps and which limits of the organisation held on the day."""
    evidence = check.evidence
    battery, limits = evidence.get("battery") or {}, evidence.get("limits") or {}
    return {
        "control": _control(evidence),
        "mechanical": _mechanical(evidence),
        "battery": [(word, battery[key], unit) for key, (word, unit) in BATTERY_WORDS.items() if battery.get(key)],
        "limits": [(word, limits[key], unit) for key, (word, unit) in LIMIT_WORDS.items() if limits.get(key)],
        "limits_revision": evidence.get("limits_revision"),
        "bounds_c": evidence.get("usual_temperature_bounds_c") or {},
    }


def _control(evidence: Mapping[str, Any]) -> list[dict[str, Any]]:
    states = evidence.get("control_check")
    if not states:
        return []
    asked = _asked(evidence, "control_items", CONTROL_ITEMS, states)
    return [_row(evidence, code, states.get(code) or "not_checked") for code in asked]


def _mechanical(evidence: Mapping[str, Any]) -> list[dict[str, Any]]:
    found = {item["code"]: item for item in evidence.get("mechanical_survey") or []}
    if not found:
        return []
    asked = _asked(evidence, "mechanical_items", MECHANICAL_ITEMS, found)
    return [_survey_row(evidence, code, found.get(code)) for code in asked]


def _asked(evidence: Mapping[str, Any], key: str, built_in: tuple[str, ...], found: Mapping[str, Any]) -> list[str]:
    """Return the day's list, and behind it what was answered though no list asked for it."""
    listed = evidence.get(key)
    return list(dict.fromkeys([*(built_in if listed is None else listed), *found]))


def _survey_row(evidence: Mapping[str, Any], code: str, item: Mapping[str, Any] | None) -> dict[str, Any]:
    row = _row(evidence, code, "not_checked" if item is None else item_state(survey_item(item)))
    return row | {key: (item or {}).get(key) for key in ("values", "lower_limit", "upper_limit")}


def _row(evidence: Mapping[str, Any], code: str, state: str) -> dict[str, Any]:
    return {"word": item_word(code, evidence.get("item_words")), "state": state, "told": STATES[state]}
