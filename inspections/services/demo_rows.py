"""The demo fleet's rows: depots, vehicles, types, units, meters, plans and counters.

No other service writes these yet, so they are made here; every `_on` value of the file is days from `until`.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.identity import OrganisationRow
from accounts.models import Depot
from accounts.services import add_depot
from fleet.models import (
    CounterReading,
    Installation,
    RatingRevision,
    RelayBoxType,
    Retarder,
    RetarderType,
    UsageCounter,
    Vehicle,
)
from inspections.models import Calibration, Meter
from inspections.simulation.book import Fleet, counter_readings, on_day
from schedules.models import CheckPlan

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rows:
    """What the visits refer to, by the file's keys."""

    installations: dict[str, Installation]
    meters: dict[str, Meter]


def store_rows(actor: Actor, fleet: Fleet, until: dt.date) -> Rows:
    """Store everything but the visits, and return what the visits refer to."""
    maker = _Maker(actor, fleet, until)
    return maker.make()


class _Maker:
    def __init__(self, actor: Actor, fleet: Fleet, until: dt.date) -> None:
        self.actor, self.fleet, self.until = actor, fleet, until
        self.owner = {"organisation": actor.organisation}

    def make(self) -> Rows:
        depots = {
            row["key"]: add_depot(self.actor, name=row["name"], time_zone=row["time_zone"])
            for row in self.fleet["depots"]
        }
        vehicles = self._vehicles(depots)
        types = {row["key"]: self._retarder_type(row) for row in self.fleet["retarder_types"]}
        boxes = {row["key"]: self._relay_box_type(row) for row in self.fleet["relay_box_types"]}
        retarders = {row["key"]: self._retarder(row, types) for row in self.fleet["retarders"]}
        installations = {
            row["key"]: self._installation(row, retarders, vehicles, boxes) for row in self.fleet["installations"]
        }
        meters = {row["key"]: self._meter(row) for row in self.fleet["meters"]}
        self._check_plans(installations)
        self._counters(vehicles)
        made: list[tuple[str, Mapping[str, OrganisationRow]]] = [
            ("vehicle", vehicles),
            ("installation", installations),
            ("meter", meters),
        ]
        write_audit(
            self.actor,
            [Deed("add", kind, row.uuid, after={"key": key}) for kind, rows in made for key, row in rows.items()],
        )
        return Rows(installations, meters)

    def _on(self, offset_days: int | None) -> dt.date | None:
        return None if offset_days is None else on_day(self.until, offset_days)

    def _vehicles(self, depots: Mapping[str, Depot]) -> dict[str, Vehicle]:
        return {
            row["key"]: Vehicle.objects.create(**self.owner, **{**_without(row, "key"), "depot": depots[row["depot"]]})
            for row in self.fleet["vehicles"]
        }

    def _retarder_type(self, row: Row) -> RetarderType:
        stages = len(row["rated_currents_a"])
        made = RetarderType.objects.create(**self.owner, designation=row["designation"], stages=stages)
        figures = _without(row, "key", "designation", "tolerance_percent")
        RatingRevision.objects.create(
            **self.owner,
            **figures,
            retarder_type=made,
            number=1,
            tolerance_lower_percent=row["tolerance_percent"],
            tolerance_upper_percent=row["tolerance_percent"],
            entered_by=self.actor.user,
        )
        return made

    def _relay_box_type(self, row: Row) -> RelayBoxType:
        return RelayBoxType.objects.create(**self.owner, **_without(row, "key"))

    def _retarder(self, row: Row, types: Mapping[str, RetarderType]) -> Retarder:
        return Retarder.objects.create(
            **self.owner,
            retarder_type=types[row["type"]],
            serial_number=row["serial_number"],
            overhauled_on=self._on(row["overhauled_on"]),
            warranty_until=self._on(row["warranty_until"]),
        )

    def _installation(
        self,
        row: Row,
        retarders: Mapping[str, Retarder],
        vehicles: Mapping[str, Vehicle],
        boxes: Mapping[str, RelayBoxType],
    ) -> Installation:
        return Installation.objects.create(
            **self.owner,
            **{key: row[key] for key in ("mounting", "return_path", "cables")},
            retarder=retarders[row["retarder"]],
            vehicle=vehicles[row["vehicle"]],
            relay_box_type=boxes[row["relay_box_type"]],
            fitted_on=self._on(row["fitted_on"]),
            removed_on=self._on(row["removed_on"]),
        )

    def _meter(self, row: Row) -> Meter:
        calibrations = [
            {**each, "performed_on": self._on(each["performed_on"]), "due_on": self._on(each["due_on"])}
            for each in row["calibrations"]
        ]
        latest = max(calibrations, key=lambda each: each["performed_on"])
        meter = Meter.objects.create(
            **self.owner, **_without(row, "key", "calibrations"), calibration_due_on=latest["due_on"]
        )
        Calibration.objects.bulk_create(Calibration(**self.owner, meter=meter, **each) for each in calibrations)
        return meter

    def _check_plans(self, installations: Mapping[str, Installation]) -> None:
        CheckPlan.objects.bulk_create(
            CheckPlan(**self.owner, **{**row, "installation": installations[row["installation"]]})
            for row in self.fleet["check_plans"]
        )

    def _counters(self, vehicles: Mapping[str, Vehicle]) -> None:
        counters = {
            row["key"]: UsageCounter.objects.create(**self.owner, vehicle=vehicles[row["vehicle"]], kind=row["kind"])
            for row in self.fleet["counters"]
        }
        seed = self.fleet["simulation"]["seed"]
        CounterReading.objects.bulk_create(
            CounterReading(**self.owner, counter=counters[each.counter], read_on=each.read_on, value=float(each.value))
            for each in counter_readings(self.fleet, until=self.until, seed=seed)
        )


def _without(row: Row, *keys: str) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in keys}
