"""From documents to what calc judges apart from the amps, and to what a coil temperature rests on."""

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from calc.circumstances import TemperatureInputs
from calc.evidence import MeterRange
from calc.evidence_apart import (
    CONTROL_ITEMS,
    MECHANICAL_ITEMS,
    ApartEvidence,
    AuxiliaryLoad,
    BatteryReadings,
    Limits,
    SurveyItem,
)
from inspections.documents import Document

APART_KEYS = ("limits", "battery", "control_check", "mechanical_survey")


def apart_of(document: Document) -> ApartEvidence | None:
    """Return what was checked beside the amps, None where nothing was."""
    if all(document.get(key) is None for key in APART_KEYS):
        return None
    survey = document.get("mechanical_survey") or []
    return ApartEvidence(
        limits=Limits(**_numbers(document.get("limits"))),
        battery=BatteryReadings(**_numbers(document.get("battery"))),
        control_check=document.get("control_check"),
        mechanical_survey=tuple(survey_item(item) for item in survey),
        # The lists of the day stand in the document, so that a later edit leaves an earlier verdict as it was.
        control_items=_listed(document.get("control_items"), CONTROL_ITEMS),
        mechanical_items=_listed(document.get("mechanical_items"), MECHANICAL_ITEMS),
        item_words=document.get("item_words"),
    )


def temperature_inputs_of(document: Document) -> TemperatureInputs | None:
    """Return what the coil temperature rests on, None where nothing is said of it."""
    given = document.get("temperature_inputs")
    if given is None:
        return None
    known = {field.name for field in fields(TemperatureInputs)}
    return TemperatureInputs(
        **{key: _plain(value) for key, value in given.items() if key in known and value is not None}
    )


def ranges_of(document: Document) -> tuple[MeterRange, ...]:
    """Return a meter's ranges, none where it states one accuracy for all readings."""
    return tuple(MeterRange(**_numbers(one)) for one in document.get("ranges") or [])


def auxiliary_load_documents(loads: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return a relay box's auxiliary loads, to be kept with the readings."""
    keys = ("name", "current_a", "bound_a", "when")
    return [{key: _text(load[key]) for key in keys if load.get(key) is not None} for load in loads]


def auxiliary_loads_of(document: Document) -> tuple[AuxiliaryLoad, ...]:
    """Return what else the supply cable feeds."""
    return tuple(
        AuxiliaryLoad(
            name=load.get("name", ""),
            current_a=float(load["current_a"]),
            bound_a=None if load.get("bound_a") is None else float(load["bound_a"]),
            when=load.get("when", "always"),
        )
        for load in document.get("auxiliary_loads") or []
    )


def _listed(codes: Sequence[str] | None, built_in: tuple[str, ...]) -> tuple[str, ...]:
    # An empty list is the organisation's own; only none at all is the built-in one.
    return built_in if codes is None else tuple(codes)


def survey_item(item: Document) -> SurveyItem:
    """Return one item of a survey."""
    return SurveyItem(
        code=item["code"],
        status=item.get("status") or "not_checked",
        values=tuple(float(value) for value in item.get("values") or []),
        **_numbers({key: item.get(key) for key in ("lower_limit", "upper_limit")}),
    )


def _numbers(document: Document | None) -> dict[str, Any]:
    return {key: float(value) for key, value in (document or {}).items() if value is not None}


def _plain(value: Any) -> Any:
    return value if isinstance(value, bool | str) else float(value)


def _text(value: Any) -> str:
    return str(value)
