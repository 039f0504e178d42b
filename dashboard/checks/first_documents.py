"""What was typed on the first-check page as the documents that are judged and filed."""

import datetime as dt
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from accounts.models import Depot
from calc.evidence import Rating, rating_not_identified

ASSUMED_TOLERANCE_PERCENT = 10.0
ASSUMED_REFERENCE_C = 20.0
Typed = Mapping[str, Any]
# Where each part's columns were typed, so that a refusal is shown at its field.
FIELD_OF = {
    ("vehicle", "fleet_number"): "fleet_number",
    ("vehicle", "registration"): "registration",
    ("retarder", "serial_number"): "serial_number",
    ("retarder_type", "designation"): "type_designation",
    ("ammeter", "designation"): "clamp_designation",
    ("voltmeter", "designation"): "voltmeter_designation",
    ("depot", "name"): "depot_name",
    ("depot", "time_zone"): "time_zone",
    ("plan", "months"): "months",
}


def rating(typed: Typed) -> Rating:
    """Return the plate's figures; a tolerance that is not printed is assumed, and said to be."""
    if "rated_currents_a" not in typed:
        return rating_not_identified(_stages(typed), typed["system_voltage_v"])
    tolerance_percent = float(typed["tolerance_percent"] or ASSUMED_TOLERANCE_PERCENT)
    volts, celsius = typed["reference_voltage_v"], typed["reference_temperature_c"]
    return Rating(
        rated_currents_a=tuple(float(amps) for amps in typed["rated_currents_a"]),
        reference_voltage_v=None if volts is None else float(volts),
        reference_temperature_c=float(ASSUMED_REFERENCE_C if celsius is None else celsius),
        reference_temperature_assumed=celsius is None,
        tolerance_lower_percent=tolerance_percent,
        tolerance_upper_percent=tolerance_percent,
        tolerance_assumed=typed["tolerance_percent"] is None,
        system_voltage_v=typed["system_voltage_v"],
        coils_in_series=1,
        coils_in_parallel=1,
    )


def meter_figures(typed: Typed, name: str) -> dict[str, Any]:
    """Return a meter's accuracy as its booklet states it."""
    figures = {"accuracy_percent": "percent", "accuracy_counts": "counts", "resolution": "resolution"}
    return {figure: float(typed[f"{name}_{short}"]) for figure, short in figures.items()}


def readings(typed: Typed) -> dict[str, Any]:
    """Return what judging and recording have in common."""
    method, coil_c = typed["coil_temperature_method"], typed["coil_temperature_c"]
    known = (
        {}
        if method == "unknown"
        else {"coil_temperature_c": coil_c, "coil_temperature_bound_c": typed["coil_temperature_bound_c"]}
    )
    return {
        **known,
        "coil_temperature_method": method,
        "engine_state": "idle",
        "stage_readings": [
            {
                "stage": stage,
                "energised": [stage],
                "supply_voltage_v": typed[f"volts_{stage}"],
                "current_a": typed[f"amps_{stage}"],
            }
            for stage in range(1, _stages(typed) + 1)
        ],
    }


def _stages(typed: Typed) -> int:
    return sum(name.startswith("volts_") for name in typed)


def assessment(typed: Typed) -> dict[str, Any]:
    """Return what is judged without storing."""
    return {
        **readings(typed),
        "rating": rating(typed),
        "ammeter": meter_figures(typed, "clamp"),
        "voltmeter": meter_figures(typed, "voltmeter"),
    }


def filing(typed: Typed, named: Typed, *, check: UUID, depot: Depot | None, now: dt.datetime) -> dict[str, Any]:
    """Return everything that is filed with the check."""
    return {
        **(_plate(typed, named) if "rated_currents_a" in typed else _counted(typed, named)),
        "ammeter": {"designation": named["clamp_designation"], **meter_figures(typed, "clamp")},
        "voltmeter": {"designation": named["voltmeter_designation"], **meter_figures(typed, "voltmeter")},
        "depot": depot or {"name": named["depot_name"], "time_zone": named["time_zone"]},
        "vehicle": {
            "fleet_number": named["fleet_number"],
            "registration": named["registration"],
            "system_voltage_v": typed["system_voltage_v"],
        },
        "plan": {"months": named["months"], "source": named["plan_source"]},
        "check": {**readings(typed), "id": check, "performed_at": now},
    }


def _plate(typed: Typed, named: Typed) -> dict[str, Any]:
    plate = rating(typed)
    return {
        "retarder_type": {
            "designation": named["type_designation"],
            "rated_currents_a": list(plate.rated_currents_a),
            "reference_voltage_v": plate.reference_voltage_v,
            "reference_voltage_basis": "unknown" if plate.reference_voltage_v is None else "stated",
            "reference_temperature_c": plate.reference_temperature_c,
            "reference_temperature_assumed": plate.reference_temperature_assumed,
            "tolerance_lower_percent": plate.tolerance_lower_percent,
            "tolerance_upper_percent": plate.tolerance_upper_percent,
            "tolerance_assumed": plate.tolerance_assumed,
            "system_voltage_v": plate.system_voltage_v,
            "coils_in_series": plate.coils_in_series,
            "coils_in_parallel": plate.coils_in_parallel,
            "sources": {"plate": named["rating_source"]},
        },
        "retarder": {"serial_number": named["serial_number"]},
    }


def _counted(typed: Typed, named: Typed) -> dict[str, Any]:
    gap_mm = typed["air_gap_mm"]
    return {
        "not_identified": {
            "stages": _stages(typed),
            "system_voltage_v": typed["system_voltage_v"],
            "coils_counted": typed["coils_counted"],
            "leads_counted": typed["leads_counted"],
            "air_gap_mm": None if gap_mm is None else float(gap_mm),
            "note": typed["note"],
        },
        "retarder": {"serial_number": named["serial_number"]},
    }
