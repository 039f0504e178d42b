"""What went into a verdict, for the working: meters and their calibration of the day, temperature, engine, readings."""

from collections.abc import Mapping
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from calc.evidence import Evidence
from calc.evidence import Meter as MeterFigures
from calc.temperature import coil_temperature
from dashboard.checks.forms import ENGINE, STOOD
from inspections.calibrations import calibration_on
from inspections.models import Calibration, ExtraReading, Inspection, Meter
from inspections.sentences import CALIBRATION_FAULTS

PURPOSE_WORDS = {
    "routine": _("routine"),
    "first": _("first check"),
    "retest": _("retest after a repair"),
    "fault_finding": _("fault finding"),
}
METER_WORDS = {"ammeter": _("Clamp"), "voltmeter": _("Voltmeter")}
METER_UNITS = {"ammeter": "A", "voltmeter": "V"}
EXTRA_WORDS: dict[str, tuple[Any, str]] = {
    "output_voltage": (_("Volts at the output"), "V"),
    "contact_drop": (_("Drop across the contact"), "V"),
    "stage_current": (_("Amps in the stage's lead"), "A"),
    "control_voltage": (_("Volts at the control input"), "V"),
    "coil_resistance": (_("Resistance of the coil"), "Ω"),
    "coil_drop": (_("Drop across the coil"), "V"),
    "insulation_resistance": (_("Resistance from lead to frame"), "Ω"),
    "supply_drop": (_("Drop of the supply cable"), "V"),
    "fuse_drop": (_("Drop across the fuse"), "V"),
    "chassis_ground_drop": (_("Drop to the chassis ground"), "V"),
    "frame_ground_drop": (_("Drop to the frame ground"), "V"),
    "battery_voltage": (_("Volts at the battery"), "V"),
    "quiescent_current": (_("Amps with everything off"), "A"),
}


def inputs_context(check: Inspection, evidence: Evidence) -> dict[str, Any]:
    """Return everything that a verdict rests on beside the rating."""
    return {
        "meters": [
            _meter(check, check.ammeter, evidence.ammeter),
            _meter(check, check.voltmeter, evidence.voltmeter),
        ],
        "coil": coil_temperature(evidence),
        "coil_method": dict(STOOD).get(check.coil_temperature_method, check.coil_temperature_method),
        "hours_parked": (check.evidence.get("temperature_inputs") or {}).get("hours_parked"),
        "engine": dict(ENGINE).get(check.engine_state or "", gettext("not stated")),
        "purpose": PURPOSE_WORDS[check.purpose],
        "notes": check.evidence.get("notes"),
        "readings": check.evidence["stage_readings"],
        "extra_readings": _extra_readings(check),
    }


def _meter(check: Inspection, meter: Meter, figures: MeterFigures) -> dict[str, Any]:
    return {
        "word": METER_WORDS[meter.kind],
        "unit": METER_UNITS[meter.kind],
        "meter": meter,
        "figures": figures.ranges or [figures],
        "calibration": _calibration_words(check, meter),
    }


def _calibration_words(check: Inspection, meter: Meter) -> str:
    """Return the calibration as the check found it on its day; what the file learnt later does not change it."""
    fault = dict(check.evidence.get("calibration_faults") or []).get(meter.kind)
    certificates = check.evidence.get("certificates") or {}
    done = calibration_on(meter, check.performed_on) if meter.kind in certificates else None
    told = "" if done is None else _calibrated(done, certificates[meter.kind])
    if fault is not None:
        reason = gettext("no valid calibration on the day (%(fault)s)") % {"fault": CALIBRATION_FAULTS[fault]}
        return f"{reason}; {told}" if told else reason
    return told or gettext("calibration valid on the day by the meter's file; no certificate is on file")


def _calibrated(calibration: Calibration, certificate: str) -> str:
    if calibration.certificate != certificate:
        # A calibration entered after the check is not the one that the check stood under.
        return gettext("certificate “%(certificate)s”") % {"certificate": certificate}
    words = {
        "on": date_format(calibration.performed_on, "j M Y"),
        "due": date_format(calibration.due_on, "j M Y") if calibration.due_on else "",
        "certificate": certificate,
    }
    dates = gettext("calibrated %(on)s, due %(due)s") if words["due"] else gettext("calibrated %(on)s, no due date")
    return (dates + (gettext(", certificate “%(certificate)s”") if certificate else "")) % words


def _extra_readings(check: Inspection) -> list[dict[str, Any]]:
    with_the_check = check.evidence.get("extra_readings") or []
    later = ExtraReading.objects.of(check.organisation_id).filter(inspection=check).order_by("received_at", "pk")
    rows = later.values("kind", "stage", "coil", "energised", "value", "over_range", "received_at")
    return [_extra(reading) for reading in [*with_the_check, *rows]]


def _extra(reading: Mapping[str, Any]) -> dict[str, Any]:
    word, unit = EXTRA_WORDS[reading["kind"]]
    return {**reading, "word": word, "unit": unit}
