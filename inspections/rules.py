"""What readings must be before they are judged: refusals that name the place, the value and what is allowed."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from accounts.errors import Fault
from calc.evidence import Meter
from calc.meters import figures_at
from inspections.documents import Document


def reading_faults(document: Document, *, stages: int, ammeter: Meter) -> list[Fault]:
    """Return what is wrong with the readings for a unit of so many stages."""
    faults = []
    for index, reading in enumerate(document["stage_readings"]):
        faults += _stage_reading_faults(("stage_readings", index), reading, stages, ammeter)
    for index, reading in enumerate(document.get("extra_readings") or []):
        faults += extra_reading_faults(("extra_readings", index), reading, stages)
    for index, entry in enumerate(document.get("stages_not_read") or []):
        faults += _stage_faults(("stages_not_read", index, "stage"), [entry["stage"]], stages)
    return faults


def extra_reading_faults(path: tuple[str | int, ...], reading: Document, stages: int) -> list[Fault]:
    """Return what is wrong with one extra reading for a unit of so many stages."""
    named = [] if reading.get("stage") is None else [reading["stage"]]
    faults = _stage_faults((*path, "stage"), named, stages)
    return faults + _stage_faults((*path, "energised"), reading.get("energised") or [], stages)


def coverage_faults(document: Document, required_stages: Iterable[int]) -> list[Fault]:
    """Return the stages that a check neither reads nor names as not read, and those it does both for."""
    read = {reading["stage"] for reading in document["stage_readings"]}
    not_read = {entry["stage"] for entry in document.get("stages_not_read") or []}
    faults = []
    if missing := sorted(set(required_stages) - read - not_read):
        detail = _("Stages %(stages)s are neither read nor named in stages_not_read.") % {"stages": _listed(missing)}
        faults.append(Fault(("stage_readings",), "stages_missing", detail))
    if both := sorted(read & not_read):
        detail = _("Stages %(stages)s are read and named as not read.") % {"stages": _listed(both)}
        faults.append(Fault(("stages_not_read",), "stages_read", detail))
    return faults


def _stage_reading_faults(path: tuple[str | int, ...], reading: Document, stages: int, ammeter: Meter) -> list[Fault]:
    faults = _stage_faults((*path, "stage"), [reading["stage"]], stages)
    faults += _stage_faults((*path, "energised"), reading["energised"], stages)
    faults += _stage_faults((*path, "outputs_live"), reading.get("outputs_live") or [], stages)
    if reading["stage"] not in reading["energised"]:
        detail = _("The stage %(stage)s must be among the energised inputs, which are %(energised)s.")
        values = {"stage": reading["stage"], "energised": _listed(reading["energised"])}
        faults.append(Fault((*path, "energised"), "stage_not_energised", detail % values))
    figures = figures_at(ammeter, float(reading["current_a"]))
    lowest = -Decimal(str(figures.accuracy_counts)) * Decimal(str(figures.resolution))
    if reading["current_a"] < lowest:
        detail = _("%(value)s A is below the meter's own counts (%(lowest)s A): clamp reversed?")
        values = {"value": reading["current_a"], "lowest": f"{lowest.normalize():f}"}
        faults.append(Fault((*path, "current_a"), "clamp_reversed", detail % values))
    return faults


def _stage_faults(path: tuple[str | int, ...], named: Sequence[Any], stages: int) -> list[Fault]:
    faults = [_no_such_stage(path, stage, stages) for stage in named if not 1 <= stage <= stages]
    if len(set(named)) < len(named):
        faults.append(Fault(path, "named_twice", _("%(value)s names a stage twice.") % {"value": _listed(named)}))
    return faults


def _no_such_stage(path: tuple[str | int, ...], stage: Any, stages: int) -> Fault:
    detail = _("%(value)s is outside the unit's stages; allowed are 1 to %(stages)s.")
    return Fault(path, "no_such_stage", detail % {"value": stage, "stages": stages})


def _listed(stages: Iterable[int]) -> str:
    return ", ".join(str(stage) for stage in stages)
