"""What an audit entry is about, by name and with the page where it is shown, fetched a table at a time."""

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.urls import reverse
from django.utils.formats import date_format

from accounts.models import Organisation
from accounts.tracking import tracked_models

Address = tuple[str, UUID] | None


@dataclass(frozen=True, slots=True)
class Telling:
    """How the rows of one table are named, the page each is shown on, and what has to be fetched along for that."""

    name: Callable[[Any], str] = str
    page: Callable[[Any], Address] = lambda row: None
    along: tuple[str, ...] = ()


def _day(on: dt.date) -> str:
    return date_format(on, "j M Y")


def _unit(installation: Any) -> str:
    return f"{installation.retarder.serial_number}, {installation.vehicle.fleet_number}"


def _check(inspection: Any) -> str:
    return f"{inspection.installation.vehicle.fleet_number}, {_day(inspection.performed_on)}"


# What is large in a row, and in no name.
HEAVY: dict[str, tuple[str, ...]] = {
    "inspection": ("evidence",),
    "judgement": ("result", "inspection__evidence"),
    "extra_reading": ("inspection__evidence",),
    "photo": ("picture", "inspection__evidence"),
}
UNIT = ("vehicle", "retarder")
CHECK = ("installation__vehicle",)
TELLINGS = {
    "calibration": Telling(
        lambda row: f"{row.meter.designation}, {_day(row.performed_on)}",
        lambda row: ("meter", row.meter.uuid),
        ("meter",),
    ),
    "check_plan": Telling(
        lambda row: _unit(row.installation),
        lambda row: ("vehicle", row.installation.vehicle.uuid),
        ("installation__vehicle", "installation__retarder"),
    ),
    "counter_reading": Telling(
        lambda row: f"{row.counter.vehicle.fleet_number}, {_day(row.read_on)}",
        lambda row: ("vehicle", row.counter.vehicle.uuid),
        ("counter__vehicle",),
    ),
    "defect": Telling(
        lambda row: row.installation.vehicle.fleet_number, lambda row: ("defect", row.uuid), ("installation__vehicle",)
    ),
    "defect_step": Telling(
        lambda row: row.defect.installation.vehicle.fleet_number,
        lambda row: ("defect", row.defect.uuid),
        ("defect__installation__vehicle",),
    ),
    "driver_link": Telling(
        lambda row: row.vehicle.fleet_number, lambda row: ("vehicle", row.vehicle.uuid), ("vehicle",)
    ),
    "extra_reading": Telling(
        lambda row: _check(row.inspection),
        lambda row: ("result", row.inspection.uuid),
        ("inspection__installation__vehicle",),
    ),
    "inspection": Telling(_check, lambda row: ("result", row.uuid), CHECK),
    "installation": Telling(_unit, lambda row: ("vehicle", row.vehicle.uuid), UNIT),
    "invitation": Telling(lambda row: row.name),
    "judgement": Telling(
        lambda row: _check(row.inspection),
        lambda row: ("result", row.inspection.uuid),
        ("inspection__installation__vehicle",),
    ),
    "member": Telling(lambda row: str(row.user), lambda row: ("person", row.uuid), ("user",)),
    "meter": Telling(lambda row: row.designation, lambda row: ("meter", row.uuid)),
    "meter_comparison": Telling(
        lambda row: f"{row.first.designation}, {row.second.designation}",
        lambda row: ("meter", row.first.uuid),
        ("first", "second"),
    ),
    "photo": Telling(
        lambda row: row.caption,
        lambda row: ("result", row.inspection.uuid) if row.inspection else ("defect", row.defect.uuid),
        ("inspection", "defect"),
    ),
    "rating_revision": Telling(lambda row: f"{row.retarder_type.designation}, {row.number}", along=("retarder_type",)),
    "usage_counter": Telling(
        lambda row: f"{row.vehicle.fleet_number}, {row.get_kind_display()}",
        lambda row: ("vehicle", row.vehicle.uuid),
        ("vehicle",),
    ),
    "vehicle": Telling(lambda row: row.fleet_number, lambda row: ("vehicle", row.uuid)),
}


@dataclass(frozen=True, slots=True)
class Thing:
    """A row by name, and the address of its page, if it has one."""

    name: str
    address: str | None


def things_by_id(organisation: Organisation, wanted: Iterable[tuple[str, UUID]]) -> dict[tuple[str, UUID], Thing]:
    """Return the rows that entries are about; what is gone is left out."""
    ids: dict[str, set[UUID]] = defaultdict(set)
    for name, uuid in wanted:
        if name in tracked_models() and name != "organisation":
            ids[name].add(uuid)
    return {
        (name, row.uuid): _thing(organisation, name, row)
        for name, uuids in ids.items()
        for row in _rows(tracked_models()[name], name).filter(organisation=organisation, uuid__in=uuids)
    }


def names_by_key(keys: Mapping[type[models.Model], set[int]]) -> dict[tuple[type[models.Model], int], str]:
    """Return what foreign keys stand for, a query a table."""
    by_model = {model: name for name, model in tracked_models().items()}
    names: dict[tuple[type[models.Model], int], str] = {}
    for model, wanted in keys.items():
        name = by_model.get(model, "")
        telling = TELLINGS.get(name, Telling())
        for row in _rows(model, name).filter(pk__in=wanted):
            names[model, row.pk] = telling.name(row)
    return names


def _rows(model: type[models.Model], name: str) -> models.QuerySet[Any]:
    rows: models.QuerySet[Any] = model._base_manager.all()
    along = TELLINGS.get(name, Telling()).along
    if along:
        rows = rows.select_related(*along)
    return rows.defer(*HEAVY[name]) if name in HEAVY else rows


def _thing(organisation: Organisation, name: str, row: Any) -> Thing:
    telling = TELLINGS.get(name, Telling())
    page = telling.page(row)
    address = page and reverse(f"dashboard:{page[0]}", args=[organisation.slug, page[1]])
    return Thing(telling.name(row), address)
