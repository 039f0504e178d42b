"""Visits to units whose fault is known: readings without meter error, rounded as a display shows them."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from calc.circuit import Circuit, passes, solve
from calc.circuit_solution import Solution
from calc.diagnosis.rank import Ranking
from calc.evidence import Evidence, ExtraReading, Meter, Rating, RestReading, StageReading
from tests.calc.test_circuit import twelve_volt_unit, twenty_four_volt_unit

RATING_12 = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
RATING_24 = Rating((25.0,) * 4, 24.0, 20.0, 10.0, 10.0, 24.0, 4, 1)
UNITS: dict[int, tuple[Callable[[], Circuit], Rating]] = {
    12: (twelve_volt_unit, RATING_12),
    24: (twenty_four_volt_unit, RATING_24),
}
CLAMP = Meter(accuracy_percent=2.0, accuracy_counts=5, resolution=0.1)
VOLTMETER = Meter(accuracy_percent=0.5, accuracy_counts=2, resolution=0.01)
Commands = Callable[[Sequence[int]], Sequence[int]]


def as_commanded(inputs: Sequence[int]) -> Sequence[int]:
    return inputs


def visit(
    circuit: Circuit,
    rating: Rating = RATING_12,
    *,
    outputs: Commands = as_commanded,
    read_amps: Callable[[float], float] = lambda amps: amps,
    look_at_outputs: bool = False,
    **more: Any,
) -> Evidence:
    """Rest, every stage alone and a cumulative pass."""
    single, cumulative = passes(rating.stages)
    states = [[place + 1 for place, on in enumerate(row) if on] for row in [*single.tolist(), *cumulative[2:].tolist()]]

    def stage_reading(inputs: list[int]) -> StageReading:
        found = solved(circuit, outputs(inputs))
        live = [place + 1 for place, volts in enumerate(found.output_voltage_v) if volts > rating.system_voltage_v / 3]
        volts, amps = round(float(found.supply_voltage_v), 2), round(read_amps(float(found.current_a)), 1)
        return StageReading(inputs[-1], tuple(inputs), volts, amps, None, tuple(live) if look_at_outputs else None)

    at_rest = solved(circuit, outputs([]))
    rest = RestReading(round(float(at_rest.supply_voltage_v), 2), round(read_amps(float(at_rest.current_a)), 1))
    usual: dict[str, Any] = {
        "rating": rating,
        "ammeter": CLAMP,
        "voltmeter": VOLTMETER,
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 5.0,
        "stage_readings": tuple(stage_reading(inputs) for inputs in states),
        "rest": rest,
    }
    return Evidence(**(usual | more))


def solved(circuit: Circuit, outputs: Sequence[int]) -> Solution:
    return solve(circuit, [stage + 1 in outputs for stage in range(circuit.stages)])


def with_extra(evidence: Evidence, *readings: ExtraReading) -> Evidence:
    return replace(evidence, extra_readings=(*evidence.extra_readings, *readings))


def first_group(ranking: Ranking) -> set[tuple[str, int | None]]:
    return {(cause.cause, cause.stage) for cause in ranking.hypotheses if cause.group == 1}


def probability(ranking: Ranking, cause: str, stage: int | None = None) -> float:
    return sum(found.probability for found in ranking.hypotheses if (found.cause, found.stage) == (cause, stage))
