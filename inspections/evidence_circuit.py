"""What the circuit is made of, and readings beyond volts and amps: from rows and documents to calc."""

from typing import Any

from calc import evidence as calc
from fleet.models import Installation
from inspections.documents import Document

CABLES = ("supply", "stage", "retarder_ground", "chassis_ground")


def installation_document(installation: Installation) -> dict[str, Any]:
    """Return what of an installation bears on its circuit, to be kept with the readings."""
    return {"cables": installation.cables or None, "return_path": installation.return_path}


def cables_of(document: Document) -> calc.Cables:
    """Return the cables as far as they are known."""
    given = document.get("cables") or {}
    return calc.Cables(**{name: _cable(given.get(name)) for name in CABLES})


def _cable(given: Document | None) -> calc.Cable | None:
    if given is None:
        return None
    length_m = given.get("length_m")
    return calc.Cable(given.get("size"), None if length_m is None else float(length_m))


def extra_readings_of(document: Document) -> tuple[calc.ExtraReading, ...]:
    """Return the readings beyond volts and amps per stage."""
    return tuple(extra_reading_of(reading) for reading in document.get("extra_readings") or [])


def extra_reading_of(reading: Document) -> calc.ExtraReading:
    """Return one of them."""
    value, energised = reading.get("value"), reading.get("energised")
    return calc.ExtraReading(
        kind=reading["kind"],
        value=None if value is None else float(value),
        stage=reading.get("stage"),
        coil=reading.get("coil"),
        energised=None if energised is None else tuple(energised),
        over_range=reading.get("over_range", False),
    )
