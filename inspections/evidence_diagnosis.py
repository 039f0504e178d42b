"""From documents to what fault finding rests on beyond volts and amps: extra readings, cables and the relay box."""

from typing import Any

from calc import evidence as calc
from inspections.documents import Document

CABLES = ("supply", "stage", "retarder_ground", "chassis_ground")


def extra_readings_of(document: Document) -> tuple[calc.ExtraReading, ...]:
    """Return the extra readings of a parsed document."""
    return tuple(extra_reading_of(reading) for reading in document.get("extra_readings") or [])


def extra_reading_of(reading: Document) -> calc.ExtraReading:
    """Return one extra reading; with none named, all inputs are taken as energised."""
    energised = reading.get("energised")
    return calc.ExtraReading(
        kind=reading["kind"],
        value=_number(reading.get("value")),
        stage=reading.get("stage"),
        coil=reading.get("coil"),
        energised=None if energised is None else tuple(energised),
        over_range=bool(reading.get("over_range")),
    )


def cables_of(document: Document | None) -> calc.Cables:
    """Return the cables as far as their size and length are known."""
    return calc.Cables(**{name: _cable_of((document or {}).get(name)) for name in CABLES})


def _cable_of(cable: Document | None) -> calc.Cable | None:
    if cable is None:
        return None
    return calc.Cable(size=cable.get("size"), length_m=_number(cable.get("length_m")))


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
