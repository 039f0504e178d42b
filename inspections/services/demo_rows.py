"""The demo fleet's rows: depots, vehicles, types, units, meters, plans and counters.

Every `_on` value of the file is days from `until`.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accounts.actors import Actor
from accounts.models import Depot
from accounts.rows import store_many
from accounts.services import add_depot
from fleet.models import CounterReading, Installation, RelayBoxType, Retarder, RetarderType, Vehicle
from fleet.services import add_counter, add_relay_box_type, add_retarder, add_retarder_type, add_vehicle, fit_retarder
from inspections.models import Meter
from inspections.services.calibrations import record_calibration
from inspections.services.meters import add_meter
from inspections.simulation.book import Fleet, counter_readings, on_day
from schedules.services.plans import add_check_plan

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rows:
    """What the visits refer to, by the file's keys."""

    installations: dict[str, Installation]
    meters: dict[str, Meter]


def store_rows(actor: Actor, fleet: Fleet, until: dt.date) -> Rows:
    """Store everything but the visits, and return what the visits refer to."""
    return _Maker(actor, fleet, until).make()


class _Maker:
    def __init__(self, actor: Actor, fleet: Fleet, until: dt.date) -> None:
        self.actor, self.fleet, self.until = actor, fleet, until

    def make(self) -> Rows:
        depots = {
            row["key"]: add_depot(self.actor, name=row["name"], time_zone=row["time_zone"])
            for row in self.fleet["depots"]
        }
        vehicles = {row["key"]: self._vehicle(row, depots) for row in self.fleet["vehicles"]}
        types = {row["key"]: self._retarder_type(row) for row in self.fleet["retarder_types"]}
        boxes = {
            row["key"]: add_relay_box_type(self.actor, **_without(row, "key")) for row in self.fleet["relay_box_types"]
        }
        retarders = {row["key"]: self._retarder(row, types) for row in self.fleet["retarders"]}
        installations = {
            row["key"]: self._installation(row, retarders, vehicles, boxes) for row in self.fleet["installations"]
        }
        meters = {row["key"]: self._meter(row) for row in self.fleet["meters"]}
        for row in self.fleet["plans"]:
            add_check_plan(self.actor, **{**row, "installation": installations[row["installation"]]})
        self._counters(vehicles)
        return Rows(installations, meters)

    def _on(self, offset_days: int | None) -> dt.date | None:
        return None if offset_days is None else on_day(self.until, offset_days)

    def _vehicle(self, row: Row, depots: Mapping[str, Depot]) -> Vehicle:
        return add_vehicle(self.actor, **{**_without(row, "key"), "depot": depots[row["depot"]]})

    def _retarder_type(self, row: Row) -> RetarderType:
        tolerance_percent = row["tolerance_percent"]
        figures = _without(row, "key", "tolerance_percent")
        return add_retarder_type(
            self.actor,
            **figures,
            tolerance_lower_percent=tolerance_percent,
            tolerance_upper_percent=tolerance_percent,
        )

    def _retarder(self, row: Row, types: Mapping[str, RetarderType]) -> Retarder:
        return add_retarder(
            self.actor,
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
        return fit_retarder(
            self.actor,
            **{key: row[key] for key in ("mounting", "return_path", "cables")},
            retarder=retarders[row["retarder"]],
            vehicle=vehicles[row["vehicle"]],
            relay_box_type=boxes[row["relay_box_type"]],
            fitted_on=self._on(row["fitted_on"]),
            removed_on=self._on(row["removed_on"]),
        )

    def _meter(self, row: Row) -> Meter:
        meter = add_meter(self.actor, **_without(row, "key", "calibrations"))
        for each in row["calibrations"]:
            dates = {"performed_on": on_day(self.until, each["performed_on"]), "due_on": self._on(each["due_on"])}
            record_calibration(self.actor, meter, **{**each, **dates})
        return meter

    def _counters(self, vehicles: Mapping[str, Vehicle]) -> None:
        counters = {
            row["key"]: add_counter(self.actor, vehicle=vehicles[row["vehicle"]], kind=row["kind"])
            for row in self.fleet["counters"]
        }
        seed = self.fleet["simulation"]["seed"]
        # Some 900 readings, all of one form: one insert, where each through the service would take a second.
        readings = [
            CounterReading(
                organisation=self.actor.organisation,
                counter=counters[each.counter],
                read_on=each.read_on,
                value=float(each.value),
                source="demo",
            )
            for each in counter_readings(self.fleet, until=self.until, seed=seed)
        ]
        store_many(self.actor, readings)


def _without(row: Row, *keys: str) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in keys}
