"""A workshop's book that never was: visits and counter readings of an invented fleet, from the forward circuit.

Pure code without a database.  The fleet is a plain dictionary, as in `fixtures/demo_fleet.json`:

- `organisation`, `depots`, `users`, `vehicles`, `retarder_types`, `relay_box_types`, `retarders`, `installations`,
  `meters` (each with its `calibrations`), `plans`, `counters`: rows in the words of the models.  A row has a
  `key` and names other rows by theirs.  `first_value` [km] or [h] is what a counter showed when the book was opened,
  and `per_month` its usage.
- `simulation`: what is true and what happened.  `seed`; `book_opened_on`; `true_reference_voltage_v` for types that
  state none; `ambient_mean_c`, `ambient_swing_c`; `technicians` with the meters each carries; `regular_visits`
  (`last_on`, `last_by`, `every_days`, counted back from the last); `told_visits`, which stand in for a regular visit
  close by;
  `faults` (`cause` and either `added_mohm`, a broken line of [day, mΩ], or `from_on` to `until_on`); `meter_faults`;
  `repairs`.

Every value whose name ends in `_on`, and `warranty_until`, is a whole number of days from `until`, negative in the
past; `on_day` turns it into a date.  Equal fleet, seed and `until` give equal visits.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from calc.circuit import Circuit
from inspections.simulation.readings import (
    Capture,
    PlannedVisit,
    ambient_temperature_c,
    on_engine,
    recorded_temperature,
    true_coil_temperature_c,
)
from inspections.simulation.units import Row, SimulatedMeter, circuit_on, generator_for, healthy_circuit, meter_on
from inspections.simulation.visits import planned_visits, working_date

DAYS_PER_MONTH = 30.4
OPENING_MINUTE = 7 * 60 + 30
LAST_START_MINUTE = 15 * 60 + 30

Fleet = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit: who did it and the document, with fixture keys where the API has ids, and without an id.

    `document["performed_at"]` is `performed_at` as text.  A retest names the stages it read again in `retested_stages`;
    the defects it answers are for the loader to find.
    """

    installation: str
    username: str
    performed_at: dt.datetime
    retested_stages: tuple[int, ...]
    document: dict[str, Any]


@dataclass(frozen=True, slots=True)
class SimulatedCounterReading:
    """What a counter showed on a day.  [km] or [h]"""

    counter: str
    read_on: dt.date
    value: Decimal


def on_day(until: dt.date, offset_days: int) -> dt.date:
    """Return the date that an `_on` value of the fleet means."""
    return until + dt.timedelta(days=offset_days)


def simulated_visits(fleet: Fleet, *, until: dt.date, seed: int) -> Iterator[Visit]:
    """Return every visit up to a date in the order of time."""
    workshop = _Workshop(fleet, until, seed)
    visits = [workshop.visit(planned) for row in fleet["installations"] for planned in planned_visits(fleet, row, seed)]
    yield from sorted(visits, key=lambda visit: (visit.performed_at, visit.installation))


def counter_readings(fleet: Fleet, *, until: dt.date, seed: int) -> Iterator[SimulatedCounterReading]:
    """Return what the counters showed month by month, counter by counter; none ever falls."""
    for counter in fleet["counters"]:
        generator = generator_for(seed, "counter", counter["key"])
        days = [int(fleet["simulation"]["book_opened_on"])]
        while days[-1] < -33:
            days.append(days[-1] + int(generator.integers(28, 34)))
        value = float(counter["first_value"])
        digits = Decimal("0.1") if counter["kind"] == "engine_hours" else Decimal(1)
        yield SimulatedCounterReading(counter["key"], on_day(until, days[0]), Decimal(value).quantize(digits))
        for before, day in pairwise(days):
            value += counter["per_month"] * (day - before) / DAYS_PER_MONTH * generator.uniform(0.85, 1.15)
            yield SimulatedCounterReading(counter["key"], on_day(until, day), Decimal(value).quantize(digits))


class _Workshop:
    """The fleet's rows by key, and each unit's healthy circuit once made."""

    def __init__(self, fleet: Fleet, until: dt.date, seed: int) -> None:
        self.until = until
        self.seed = seed
        self.simulation = fleet["simulation"]
        self.rows = {name: _by_key(fleet[name]) for name in KEYED_LISTS}
        self.technicians = {each["username"]: each for each in self.simulation["technicians"]}
        self.circuits: dict[str, Circuit] = {}

    def visit(self, planned: PlannedVisit) -> Visit:
        generator = generator_for(self.seed, "visit", planned.installation, str(planned.day))
        performed_at = self._performed_at(planned, int(generator.integers(OPENING_MINUTE, LAST_START_MINUTE)))
        ambient_c = ambient_temperature_c(
            performed_at.date(), self.simulation["ambient_mean_c"], self.simulation["ambient_swing_c"]
        )
        true_c = true_coil_temperature_c(planned, ambient_c, generator)
        technician = self.technicians[planned.username]
        document = {
            "installation": planned.installation,
            "performed_at": performed_at.isoformat(),
            "purpose": planned.purpose,
            "engine_state": planned.engine_state,
            "ammeter": technician["ammeter"],
            "voltmeter": technician["voltmeter"],
            **recorded_temperature(planned, true_c, generator),
        }
        capture = self._capture(planned, true_c, generator)
        document |= capture.document(planned) | {"notes": planned.notes}
        retested = planned.stages if planned.purpose == "retest" else ()
        return Visit(planned.installation, planned.username, performed_at, retested, document)

    def _capture(self, planned: PlannedVisit, true_c: float, generator: np.random.Generator) -> Capture:
        technician = self.technicians[planned.username]
        ammeter, voltmeter = (self._meter(technician[kind], planned.day) for kind in ("ammeter", "voltmeter"))
        return Capture(
            on_engine(self._circuit(planned), planned.engine_state, generator),
            self._relay_box_type(planned.installation),
            ammeter,
            voltmeter,
            generator,
            true_c,
            clamp_zero_a=generator.uniform(-2.0, 2.0) * float(ammeter.resolution),
        )

    def _circuit(self, planned: PlannedVisit) -> Circuit:
        row = self.rows["installations"][planned.installation]
        if row["key"] not in self.circuits:
            retarder_type = self.rows["retarder_types"][self.rows["retarders"][row["retarder"]]["type"]]
            stated_v = retarder_type["reference_voltage_v"]
            self.circuits[row["key"]] = healthy_circuit(
                row,
                retarder_type=retarder_type,
                relay_box_type=self._relay_box_type(row["key"]),
                true_reference_voltage_v=stated_v or self.simulation["true_reference_voltage_v"][retarder_type["key"]],
                seed=self.seed,
            )
        faults = [fault for fault in self.simulation["faults"] if fault["installation"] == row["key"]]
        return circuit_on(self.circuits[row["key"]], faults, planned.day)

    def _meter(self, key: str, day: int) -> SimulatedMeter:
        return meter_on(self.rows["meters"][key], self.simulation["meter_faults"], day, self.seed)

    def _relay_box_type(self, installation: str) -> Row:
        relay_box_type: Row = self.rows["relay_box_types"][self.rows["installations"][installation]["relay_box_type"]]
        return relay_box_type

    def _performed_at(self, planned: PlannedVisit, minute_of_day: int) -> dt.datetime:
        vehicle = self.rows["vehicles"][self.rows["installations"][planned.installation]["vehicle"]]
        zone = ZoneInfo(self.rows["depots"][vehicle["depot"]]["time_zone"])
        hour, minute = divmod(minute_of_day, 60)
        on = working_date(on_day(self.until, planned.day))
        return dt.datetime.combine(on, dt.time(hour, minute), zone)


KEYED_LISTS = ("depots", "vehicles", "retarder_types", "relay_box_types", "retarders", "installations", "meters")


def _by_key(rows: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {row["key"]: row for row in rows}
