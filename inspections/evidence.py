"""From rows and documents to what calc judges."""

from collections.abc import Mapping, Sequence
from typing import Any

from accounts.models import Organisation
from calc import evidence as calc
from fleet.models import RatingRevision, RelayBoxType
from inspections.documents import Document
from inspections.evidence_apart import (
    apart_of,
    auxiliary_load_documents,
    auxiliary_loads_of,
    ranges_of,
    temperature_inputs_of,
)
from inspections.evidence_circuit import cables_of, extra_readings_of
from inspections.models import Meter


def rating_of(revision: RatingRevision) -> calc.Rating:
    """Return a rating on file as calc knows it."""
    if not revision.identified or revision.coils_in_series is None or revision.coils_in_parallel is None:
        # Its constraints say that what has no amps has no wiring either.
        return calc.rating_not_identified(len(revision.rated_currents_a), revision.system_voltage_v)
    return calc.Rating(
        rated_currents_a=tuple(float(rated_a) for rated_a in revision.rated_currents_a),
        reference_voltage_v=revision.reference_voltage_v,
        reference_temperature_c=revision.reference_temperature_c,
        tolerance_lower_percent=revision.tolerance_lower_percent,
        tolerance_upper_percent=revision.tolerance_upper_percent,
        system_voltage_v=revision.system_voltage_v,
        coils_in_series=revision.coils_in_series,
        coils_in_parallel=revision.coils_in_parallel,
        tolerance_assumed=revision.tolerance_assumed,
        reference_temperature_assumed=revision.reference_temperature_assumed,
    )


def meter_document(meter: Meter) -> dict[str, Any]:
    """Return the meter's figures of today, to be kept with the readings taken with it."""
    return {
        "id": meter.uuid,
        "accuracy_percent": str(meter.accuracy_percent),
        "accuracy_counts": str(meter.accuracy_counts),
        "resolution": str(meter.resolution),
        "range_max": None if meter.range_max is None else str(meter.range_max),
        **({"ranges": [_range_document(one) for one in meter.ranges]} if meter.ranges else {}),
    }


def _range_document(figures: Mapping[str, float]) -> dict[str, str]:
    return {name: str(figure) for name, figure in figures.items()}


def meter_of(document: Document) -> calc.Meter:
    """Return a meter's figures as calc knows them."""
    return calc.Meter(
        accuracy_percent=float(document["accuracy_percent"]),
        accuracy_counts=float(document["accuracy_counts"]),
        resolution=float(document["resolution"]),
        range_max=_number(document.get("range_max")),
        ranges=ranges_of(document),
    )


def relay_box_document(box: RelayBoxType | None) -> dict[str, Any] | None:
    """Return what of a relay box bears on the verdict, to be kept with the readings."""
    if box is None:
        return None
    return {
        "drive": box.drive,
        "outputs_by_input": box.outputs_by_input,
        "lamps": box.lamps,
        "auxiliary_loads": auxiliary_load_documents(box.auxiliary_loads),
        "fuses": box.fuses,
        "control_input": box.control_input,
    }


def relay_box_of(document: Document | None) -> calc.RelayBox:
    """Return the relay box as calc knows it; an unknown box switches output k with input k."""
    if document is None:
        return calc.RelayBox()
    outputs = document.get("outputs_by_input")
    return calc.RelayBox(
        drive=document.get("drive") or "relay",
        outputs_by_input=None if outputs is None else tuple(tuple(row) for row in outputs),
        lamps=document.get("lamps"),
        auxiliary_loads=auxiliary_loads_of(document),
        fuses=document.get("fuses"),
        control_input=document.get("control_input"),
    )


def evidence_of(
    document: Document,
    *,
    rating: calc.Rating,
    decision_rule: calc.DecisionRule,
    max_false_accept_probability: float | None,
    required_stages: Sequence[int] = (),
) -> calc.Evidence:
    """Return what calc judges: a parsed document, held against a rating under a rule."""
    rest = document.get("rest")
    return calc.Evidence(
        rating=rating,
        ammeter=meter_of(document["ammeter"]),
        voltmeter=meter_of(document["voltmeter"]),
        coil_temperature_c=_number(document.get("coil_temperature_c")),
        coil_temperature_bound_c=_number(document.get("coil_temperature_bound_c")),
        coil_temperature_method=document.get("coil_temperature_method"),
        rest=None if rest is None else calc.RestReading(float(rest["supply_voltage_v"]), float(rest["current_a"])),
        stage_readings=tuple(_stage_reading(reading) for reading in document["stage_readings"]),
        engine_state=document.get("engine_state"),
        relay_box=relay_box_of(document.get("relay_box")),
        stages_not_read=tuple(entry["stage"] for entry in document.get("stages_not_read") or []),
        required_stages=tuple(required_stages),
        decision_rule=decision_rule,
        max_false_accept_probability=max_false_accept_probability,
        temperature_inputs=temperature_inputs_of(document),
        usual_temperature_bounds_c=_bounds(document.get("usual_temperature_bounds_c")),
        apart=apart_of(document),
        extra_readings=extra_readings_of(document),
        cables=cables_of(document),
        return_path=document.get("return_path"),
        calibration_faults=tuple((meter, fault) for meter, fault in document.get("calibration_faults") or ()),
        calibration_required=document.get("calibration_required", False),
        own_history=own_history_of(document),
        stages_repaired=tuple(document.get("stages_repaired") or ()),
    )


def rule_of(document: Document, organisation: Organisation) -> tuple[calc.DecisionRule, float | None]:
    """Return the decision rule asked for or, where none is, the organisation's."""
    if rule := document.get("decision_rule"):
        return rule, _number(document.get("max_false_accept_probability"))
    own: Any = organisation.decision_rule
    return own, organisation.max_false_accept_probability


def own_history_of(document: Document) -> tuple[calc.OwnConductance, ...]:
    """Return what the unit conducted at earlier checks, as it was kept with the readings."""
    figures = ("conductance_s", "u_conductance_s", "u_alone_s")
    return tuple(
        calc.OwnConductance(each["stage"], *(float(each[name]) for name in figures))
        for check in document.get("own_history") or ()
        for each in check["stages"]
    )


def _stage_reading(reading: Document) -> calc.StageReading:
    return calc.StageReading(
        stage=reading["stage"],
        energised=tuple(reading["energised"]),
        supply_voltage_v=float(reading["supply_voltage_v"]),
        current_a=float(reading["current_a"]),
        seconds_on=_number(reading.get("seconds_on")),
        outputs_live=_stages(reading.get("outputs_live")),
        lamps_lit=_stages(reading.get("lamps_lit")),
    )


def _stages(named: Sequence[int] | None) -> tuple[int, ...] | None:
    return None if named is None else tuple(named)


def _bounds(given: Document | None) -> dict[str, float] | None:
    return None if given is None else {key: float(bound) for key, bound in given.items()}


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
