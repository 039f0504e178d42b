"""Evidence as columns: one row per inspection, one row per reading, so that one or many are judged alike."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.copper import HIGHEST_READING, require_temperature
from calc.errors import RELATIVE_SLACK, require_range
from calc.evidence import Evidence, Meter
from calc.temperature import coil_temperature

MOST_STAGES = 8
RULES = ("simple", "guarded", "max_false_accept")
SIMPLE, GUARDED, MAX_FALSE_ACCEPT = range(3)
LOWEST_RATED_CURRENT_A = 1e-3


@dataclass(frozen=True, slots=True)
class MeterColumns:
    """Accuracy of one meter per inspection; `range_max` is NaN where the range is not known."""

    accuracy_percent: Floats
    counts_half_width: Floats
    resolution: Floats
    range_max: Floats


@dataclass(frozen=True, slots=True)
class Conditions:
    """What holds for a whole inspection; NaN where the evidence states nothing."""

    rated_currents_a: Floats
    stages: Ints
    reference_voltage_v: Floats
    reference_temperature_c: Floats
    tolerance_lower_percent: Floats
    tolerance_upper_percent: Floats
    ammeter: MeterColumns
    voltmeter: MeterColumns
    coil_temperature_c: Floats
    coil_temperature_bound_c: Floats
    rest_voltage_v: Floats
    rest_current_a: Floats
    electronic_drive: Bools
    rule: Ints
    max_false_accept_probability: Floats


@dataclass(frozen=True, slots=True)
class Readings:
    """Stage readings in any order; stages count from 0, `energised` has bit k set for stage k."""

    inspection: Ints
    stage: Ints
    energised: Ints
    supply_voltage_v: Floats
    current_a: Floats


@dataclass(frozen=True, slots=True)
class Columns:
    """A batch of inspections."""

    conditions: Conditions
    readings: Readings


def columns_of(evidences: Sequence[Evidence]) -> Columns:
    """Return the evidence as checked columns.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.
    """
    columns = Columns(_conditions(evidences), _readings(evidences))
    _require_plausible(columns)
    return columns


def energised_bits(energised: Sequence[int]) -> int:
    """Return the control inputs as a number with bit k − 1 set for input k.

    Examples
    --------
    >>> energised_bits([1, 3])
    5
    """
    bits = 0
    for control_input in energised:
        bits |= 1 << control_input
    return bits >> 1


def _conditions(evidences: Sequence[Evidence]) -> Conditions:
    numbers = np.array([_numbers(evidence) for evidence in evidences], dtype=np.float64)
    numbers = np.ascontiguousarray(numbers.reshape(len(evidences), 20).T)
    padding = (None,) * MOST_STAGES
    rated = [(evidence.rating.rated_currents_a + padding)[:MOST_STAGES] for evidence in evidences]
    return Conditions(
        rated_currents_a=np.array(rated, dtype=np.float64).reshape(len(evidences), MOST_STAGES),
        stages=numbers[0].astype(np.int64),
        reference_voltage_v=numbers[1],
        reference_temperature_c=numbers[2],
        tolerance_lower_percent=numbers[3],
        tolerance_upper_percent=numbers[4],
        ammeter=MeterColumns(*numbers[5:9]),
        voltmeter=MeterColumns(*numbers[9:13]),
        coil_temperature_c=numbers[13],
        coil_temperature_bound_c=numbers[14],
        rest_voltage_v=numbers[15],
        rest_current_a=numbers[16],
        electronic_drive=numbers[17] > 0,
        rule=numbers[18].astype(np.int64),
        max_false_accept_probability=numbers[19],
    )


def _numbers(evidence: Evidence) -> tuple[float | None, ...]:
    rating, rest, coil = evidence.rating, evidence.rest, coil_temperature(evidence)
    return (
        rating.stages,
        rating.reference_voltage_v,
        rating.reference_temperature_c,
        rating.tolerance_lower_percent,
        rating.tolerance_upper_percent,
        *_meter_numbers(evidence.ammeter),
        *_meter_numbers(evidence.voltmeter),
        coil.temperature_c,
        coil.bound_c,
        rest.supply_voltage_v if rest else None,
        rest.current_a if rest else None,
        evidence.relay_box.drive == "electronic",
        RULES.index(evidence.decision_rule),
        evidence.max_false_accept_probability,
    )


def _meter_numbers(meter: Meter) -> tuple[float | None, ...]:
    return meter.accuracy_percent, meter.accuracy_counts * meter.resolution, meter.resolution, meter.range_max


def _readings(evidences: Sequence[Evidence]) -> Readings:
    whole: list[tuple[int, int, int]] = []
    measured: list[tuple[float, float]] = []
    for inspection, evidence in enumerate(evidences):
        for reading in evidence.stage_readings:
            whole.append((inspection, reading.stage - 1, energised_bits(reading.energised)))
            measured.append((reading.supply_voltage_v, reading.current_a))
    integers = np.array(whole, dtype=np.int64).reshape(-1, 3)
    floats = np.array(measured, dtype=np.float64).reshape(-1, 2)
    return Readings(integers[:, 0], integers[:, 1], integers[:, 2], floats[:, 0], floats[:, 1])


def _require_plausible(columns: Columns) -> None:
    conditions, readings = columns.conditions, columns.readings
    zero_a = conditions.ammeter.counts_half_width[readings.inspection] * (1 + RELATIVE_SLACK)
    require_range("supply_voltage_v", readings.supply_voltage_v, 0.0, HIGHEST_READING)
    require_range("current_a", readings.current_a, -zero_a, HIGHEST_READING)
    require_range("stages", conditions.stages, 1, MOST_STAGES)
    require_range("stage", readings.stage + 1, 1, conditions.stages[readings.inspection])
    require_range("energised inputs as bits", readings.energised, 1, 2.0 ** conditions.stages[readings.inspection] - 1)
    require_range("energised inputs that are the stage's", (readings.energised >> readings.stage) & 1, 1, 1)
    require_range(
        "rated_current_a", conditions.rated_currents_a, LOWEST_RATED_CURRENT_A, HIGHEST_READING, absent_allowed=True
    )
    require_range("reference_voltage_v", conditions.reference_voltage_v, 0.0, HIGHEST_READING, absent_allowed=True)
    require_temperature("reference_temperature_c", conditions.reference_temperature_c)
    require_temperature("coil_temperature_c", conditions.coil_temperature_c)
    require_range("coil_temperature_bound_c", conditions.coil_temperature_bound_c, 0.0, HIGHEST_READING)
    for tolerance in (conditions.tolerance_lower_percent, conditions.tolerance_upper_percent):
        require_range("tolerance_percent", tolerance, 0.0, HIGHEST_READING, absent_allowed=True)
    require_range("rest.current_a", conditions.rest_current_a, -HIGHEST_READING, HIGHEST_READING, absent_allowed=True)
    for meter in (conditions.ammeter, conditions.voltmeter):
        require_range("accuracy_percent", meter.accuracy_percent, 0.0, HIGHEST_READING)
        require_range("accuracy_counts × resolution", meter.counts_half_width, 0.0, HIGHEST_READING**2)
        require_range("resolution", meter.resolution, 0.0, HIGHEST_READING)
    _require_probability(conditions)


def _require_probability(conditions: Conditions) -> None:
    asked = conditions.rule == MAX_FALSE_ACCEPT
    if asked.any():
        probability = conditions.max_false_accept_probability[asked]
        require_range("max_false_accept_probability", probability, np.nextafter(0.0, 1.0), 0.5)
