"""When a simulated workshop comes to each unit, who does it, and what is written beside the readings."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from inspections.simulation.readings import PlannedVisit
from inspections.simulation.units import Row, generator_for

JITTER_DAYS = 14
# A told visit stands in for the regular one that would fall this close to it.
STANDS_IN_DAYS = 25
# Time for a fitting to be done, weekends and holidays included.
FIRST_CHECK_AFTER_DAYS = 7
CLOSED_ON = {(1, 1), (12, 25), (12, 26)}
SATURDAY = 5

NOTES = {
    "parked": ("Parked overnight.", "Stood in the yard since yesterday.", "Cold, not moved today.", ""),
    "measured": ("Came in warm, temperature read at the coils.", "Temperature taken at the coils.", ""),
    "unknown": ("",),
}
REMARKS = (
    "",
    "",
    "",
    "Supply stud wiped clean before reading.",
    "Battery clamps cleaned.",
    "Loose cable clip on the harness refitted.",
    "Lid seal of the box renewed.",
    "Mud washed off the frame first.",
    "Chocked both ends, ramp two.",
)


def planned_visits(fleet: Mapping[str, Any], installation: Row, seed: int) -> Iterator[PlannedVisit]:
    """Return what happens to one installation, oldest first; the first of its visits says so."""
    simulation = fleet["simulation"]
    generator = generator_for(seed, "plan", installation["key"])
    told = [row for row in simulation["told_visits"] if row["installation"] == installation["key"]]
    colleagues = _technicians_of(fleet, installation)
    visits = [_told_visit(row) for row in told]
    for plan in simulation["regular_visits"]:
        if plan["installation"] == installation["key"]:
            visits += [
                _regular_visit(plan, day, colleagues, generator)
                for day in _regular_days(plan, max(simulation["book_opened_on"], _first_day(installation)), generator)
                if all(abs(day - row["on"]) > STANDS_IN_DAYS for row in told)
            ]
    for place, visit in enumerate(sorted(visits, key=lambda each: each.day)):
        is_first = place == 0 and visit.purpose == "routine"
        yield replace(visit, purpose="first") if is_first else visit


def working_date(on: dt.date) -> dt.date:
    """Return the date itself, or the last working day before a weekend or holiday."""
    while on.weekday() >= SATURDAY or (on.month, on.day) in CLOSED_ON:
        on -= dt.timedelta(days=1)
    return on


def _first_day(installation: Row) -> int:
    return int(installation["fitted_on"]) + FIRST_CHECK_AFTER_DAYS


def _regular_days(plan: Row, earliest: int, generator: np.random.Generator) -> list[int]:
    days = [int(plan["last_on"])]
    while (day := days[-1] - plan["every_days"] + int(generator.integers(-JITTER_DAYS, JITTER_DAYS + 1))) >= earliest:
        days.append(day)
    return days


def _technicians_of(fleet: Mapping[str, Any], installation: Row) -> list[str]:
    depots = {row["key"]: row["depot"] for row in fleet["vehicles"]}
    depot = depots[installation["vehicle"]]
    return [row["username"] for row in fleet["simulation"]["technicians"] if row["depot"] == depot]


def _regular_visit(plan: Row, day: int, colleagues: list[str], generator: np.random.Generator) -> PlannedVisit:
    method = str(generator.choice(["parked", "measured"], p=[0.75, 0.25]))
    notes = f"{generator.choice(NOTES[method])} {generator.choice(REMARKS)}".strip()
    return PlannedVisit(
        installation=plan["installation"],
        day=day,
        username=plan["last_by"] if day == plan["last_on"] else str(generator.choice(colleagues)),
        purpose="routine",
        coil_temperature_method=method,
        engine_state=str(generator.choice(["idle", "high_idle", "off"], p=[0.7, 0.24, 0.06])),
        cumulative=bool(generator.random() < 0.75),
        notes=notes,
    )


def _told_visit(row: Row) -> PlannedVisit:
    return PlannedVisit(
        installation=row["installation"],
        day=row["on"],
        username=row["username"],
        purpose=row["purpose"],
        coil_temperature_method=row["coil_temperature_method"],
        engine_state=row.get("engine_state", "idle"),
        cumulative=row["cumulative"],
        notes=row["notes"],
        coil_temperature_true_c=row.get("coil_temperature_true_c"),
        stages=tuple(row.get("stages", ())),
        extra_readings=row.get("extra_readings", ()),
    )
