"""Evidence for tests: an invented four-stage unit and its meters, changed where a test needs it."""

from dataclasses import replace
from typing import Any

from calc.evidence import Evidence, Meter, Rating, RestReading, StageReading

CLAMP = Meter(accuracy_percent=2.0, accuracy_counts=5, resolution=0.1)
VOLTMETER = Meter(accuracy_percent=0.5, accuracy_counts=2, resolution=0.01)
FOUR_AT_14_V = Rating(
    rated_currents_a=(35.5,) * 4,
    reference_voltage_v=14.0,
    reference_temperature_c=20.0,
    tolerance_lower_percent=10.0,
    tolerance_upper_percent=10.0,
    system_voltage_v=12.0,
    coils_in_series=2,
    coils_in_parallel=2,
)


def rating(**changes: Any) -> Rating:
    return replace(FOUR_AT_14_V, **changes)


def read_alone(stage: int, current_a: float, supply_voltage_v: float = 14.0, **seen: Any) -> StageReading:
    return StageReading(stage, (stage,), supply_voltage_v, current_a, **seen)


def single_pass(currents_a: tuple[float, ...], supply_voltage_v: float = 14.0) -> tuple[StageReading, ...]:
    return tuple(read_alone(stage, current_a, supply_voltage_v) for stage, current_a in enumerate(currents_a, start=1))


def cumulative_pass(totals_a: tuple[float, ...], volts: tuple[float, ...]) -> tuple[StageReading, ...]:
    steps = enumerate(zip(totals_a, volts, strict=True), start=1)
    return tuple(StageReading(stage, tuple(range(1, stage + 1)), volt, total) for stage, (total, volt) in steps)


def evidence(stage_readings: tuple[StageReading, ...] | None = None, **changes: Any) -> Evidence:
    usual: dict[str, Any] = {
        "rating": FOUR_AT_14_V,
        "ammeter": CLAMP,
        "voltmeter": VOLTMETER,
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 3.0,
        "stage_readings": single_pass((36.3,) * 4) if stage_readings is None else stage_readings,
        "rest": RestReading(supply_voltage_v=14.2, current_a=0.0),
    }
    return Evidence(**(usual | changes))
