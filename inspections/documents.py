"""Readings as a document: what a client sent, checked and parsed, and the same with its digits as typed.

A parsed document holds Decimal, UUID and aware datetime values; a stored one holds strings in their place.
"""

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from accounts.canonical import digest, plain

Document = Mapping[str, Any]

MEASURED_KEYS = frozenset(
    {
        "supply_voltage_v",
        "current_a",
        "seconds_on",
        "coil_temperature_c",
        "coil_temperature_bound_c",
        "value",
        "length_m",
        "accuracy_percent",
        "accuracy_counts",
        "resolution",
        "range_max",
        "bound_a",
        "values",
        "lower_limit",
        "conductance_s",
        "u_conductance_s",
        "u_alone_s",
        "upper_limit",
        "supply_voltage_low_v",
        "supply_voltage_high_v",
        "upstream_resistance_mohm",
        "shared_ground_resistance_mohm",
        "battery_at_rest_low_v",
        "charging_low_v",
        "charging_high_v",
        "cable_drop_v",
        "at_rest_v",
        "charging_v",
        "all_stages_on_v",
        "after_10_s_v",
        "alternator_rated_a",
        "hours_parked",
        "air_temperature_c",
        "resistance_now_ohm",
        "resistance_now_bound_ohm",
        "resistance_cold_ohm",
        "resistance_cold_bound_ohm",
        "cold_temperature_c",
        "cold_temperature_bound_c",
        "start_temperature_c",
        "start_temperature_bound_c",
        "minutes_since_stop",
        "time_constant_minutes",
    }
)
# Its keys are the organisation's own words, and no value in it was measured.
UNMEASURED_KEY = "control_check"
# What has a column of its own.
COLUMN_KEYS = frozenset({"id", "installation", "performed_at", "purpose", "engine_state", "coil_temperature_method"})


def stored_document(document: Document) -> dict[str, Any]:
    """Return the evidence document to keep: measured values as strings, digits as typed."""
    kept = {key: value for key, value in document.items() if key not in COLUMN_KEYS and value is not None}
    return dict(plain(kept))


def parsed_document(value: Any, key: str = "") -> Any:
    """Return a stored document with its measured values as Decimal again."""
    if isinstance(value, Mapping):
        return {name: parsed_document(item, "" if key == UNMEASURED_KEY else name) for name, item in value.items()}
    if isinstance(value, list):
        return [parsed_document(item, key) for item in value]
    return Decimal(value) if key in MEASURED_KEYS and isinstance(value, str) else value


def content_hash(document: Document) -> str:
    """Return a hash that is equal for equal content: 40.10 is 40.1, an instant is one instant, key order is nothing."""
    return digest(_comparable(document))


def _comparable(value: Any) -> Any:
    # Words are most of a document.
    if type(value) is str:
        return value
    if isinstance(value, Mapping):
        return {str(key): _comparable(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_comparable(item) for item in value]
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float | Decimal):
        number = Decimal(str(value)).normalize()
        return str(number + 0 if number else Decimal(0))
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    return value if value is None or isinstance(value, str) else str(value)
