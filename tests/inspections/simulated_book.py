"""The demonstration fleet and its book as the tests read them."""

import datetime as dt
import json
from functools import cache
from pathlib import Path
from typing import Any

from calc.copper import normalised_current_a
from calc.evidence import Evidence, Meter, Rating, RelayBox, RestReading, StageReading
from calc.judge import judge
from inspections.simulation.book import Visit, simulated_visits

UNTIL = dt.date(2026, 11, 25)
FLEET: dict[str, Any] = json.loads((Path(__file__).parents[2] / "fixtures" / "demo_fleet.json").read_text("utf-8"))
STORY: dict[str, Any] = FLEET["simulation"]
SEED: int = STORY["seed"]
KEYED = ("depots", "vehicles", "retarder_types", "relay_box_types", "retarders", "installations", "meters", "counters")
ROWS: dict[str, dict[str, dict[str, Any]]] = {name: {row["key"]: row for row in FLEET[name]} for name in KEYED}


@cache
def book(until: dt.date = UNTIL, seed: int = SEED) -> tuple[Visit, ...]:
    return tuple(simulated_visits(FLEET, until=until, seed=seed))


def visits_of(installation: str) -> list[Visit]:
    return [visit for visit in book() if visit.installation == installation]


def type_of(visit: Visit) -> dict[str, Any]:
    return ROWS["retarder_types"][ROWS["retarders"][ROWS["installations"][visit.installation]["retarder"]]["type"]]


def shares(visit: Visit) -> dict[tuple[int, ...], float]:
    """Conductance of each reading over that of the rated amps, at the recorded temperature, by what was energised."""
    rating, document = type_of(visit), visit.document
    reference_v = rating["reference_voltage_v"] or STORY["true_reference_voltage_v"][rating["key"]]
    return {
        tuple(reading["energised"]): normalised_current_a(
            float(reading["current_a"]),
            supply_voltage_v=float(reading["supply_voltage_v"]),
            coil_temperature_c=float(document["coil_temperature_c"]),
            reference_voltage_v=reference_v,
        )
        / sum(rating["rated_currents_a"][k - 1] for k in reading["energised"])
        for reading in document["stage_readings"]
    }


def evidence_of(visit: Visit) -> Evidence:
    document = visit.document
    box = ROWS["relay_box_types"][ROWS["installations"][visit.installation]["relay_box_type"]]

    def meter(kind: str) -> Meter:
        row = ROWS["meters"][document[kind]]
        return Meter(row["accuracy_percent"], row["accuracy_counts"], row["resolution"], row["range_max"])

    def number(name: str) -> float | None:
        return None if document[name] is None else float(document[name])

    return Evidence(
        rating=rating_of(visit),
        ammeter=meter("ammeter"),
        voltmeter=meter("voltmeter"),
        coil_temperature_c=number("coil_temperature_c"),
        coil_temperature_bound_c=number("coil_temperature_bound_c"),
        stage_readings=tuple(stage_reading_of(reading) for reading in document["stage_readings"]),
        coil_temperature_method=document["coil_temperature_method"],
        rest=RestReading(float(document["rest"]["supply_voltage_v"]), float(document["rest"]["current_a"])),
        engine_state=document["engine_state"],
        relay_box=RelayBox(box["drive"], tuple(map(tuple, box["outputs_by_input"])), box["lamps"]),
        required_stages=visit.retested_stages or tuple(range(1, rating_of(visit).stages + 1)),
    )


def rating_of(visit: Visit) -> Rating:
    row = type_of(visit)
    return Rating(
        rated_currents_a=tuple(row["rated_currents_a"]),
        reference_voltage_v=row["reference_voltage_v"],
        reference_temperature_c=row["reference_temperature_c"],
        tolerance_lower_percent=row["tolerance_percent"],
        tolerance_upper_percent=row["tolerance_percent"],
        system_voltage_v=row["system_voltage_v"],
        coils_in_series=row["coils_in_series"],
        coils_in_parallel=row["coils_in_parallel"],
    )


def stage_reading_of(reading: dict[str, Any]) -> StageReading:
    def seen(name: str) -> tuple[int, ...] | None:
        return tuple(reading[name]) if name in reading else None

    return StageReading(
        stage=reading["stage"],
        energised=tuple(reading["energised"]),
        supply_voltage_v=float(reading["supply_voltage_v"]),
        current_a=float(reading["current_a"]),
        seconds_on=reading["seconds_on"],
        outputs_live=seen("outputs_live"),
        lamps_lit=seen("lamps_lit"),
    )


def verdict_of(visit: Visit) -> str:
    return judge(evidence_of(visit)).verdict
