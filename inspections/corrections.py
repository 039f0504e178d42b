"""What a calibration found wrong with a meter, taken out of readings: the evidence stays, the judgement says so."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

# A meter with a gain error of g % and a zero of z reads true × (1 + g / 100) + z.
GAIN_KEYS = {"current_a": "ammeter_gain_percent", "supply_voltage_v": "voltmeter_gain_percent"}
ZERO_KEYS = {"current_a": "ammeter_zero_a", "supply_voltage_v": "voltmeter_zero_v"}
CORRECTION_KEYS = frozenset({*GAIN_KEYS.values(), *ZERO_KEYS.values()})


def alike(corrections: Mapping[str, str | Decimal]) -> dict[str, str]:
    """Return corrections so that the same error reads the same, however many zeros it was typed with.

    >>> alike({"ammeter_gain_percent": "4.0", "ammeter_zero_a": "-0.00"})
    {'ammeter_gain_percent': '4', 'ammeter_zero_a': '0'}
    """
    return {key: f"{(Decimal(error) + 0).normalize():f}" for key, error in corrections.items()}


def corrected(document: Mapping[str, Any], corrections: Mapping[str, str]) -> dict[str, Any]:
    """Return a parsed document with the found errors taken out of its volts and amps.

    >>> from decimal import Decimal
    >>> reading = {"current_a": Decimal("38.4"), "supply_voltage_v": Decimal("13.76")}
    >>> fixed = corrected({"stage_readings": [reading]}, {"ammeter_gain_percent": "-4.0"})
    >>> float(fixed["stage_readings"][0]["current_a"])
    40.0
    """
    if not corrections:
        return dict(document)
    rest = document.get("rest")
    readings = [_corrected_reading(reading, corrections) for reading in document["stage_readings"]]
    return {
        **document,
        "stage_readings": readings,
        "rest": None if rest is None else _corrected_reading(rest, corrections),
    }


def _corrected_reading(reading: Mapping[str, Any], corrections: Mapping[str, str]) -> dict[str, Any]:
    fixed = dict(reading)
    for key in GAIN_KEYS:
        zero = Decimal(corrections.get(ZERO_KEYS[key], "0"))
        gain_percent = Decimal(corrections.get(GAIN_KEYS[key], "0"))
        fixed[key] = (reading[key] - zero) / (1 + gain_percent / 100)
    return fixed
