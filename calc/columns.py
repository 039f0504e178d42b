"""Evidence as columns: one row per inspection, one row per reading, so that one or many are judged alike."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.copper import HIGHEST_COIL_TEMPERATURE_C, HIGHEST_READING, LOWEST_COIL_TEMPERATURE_C
from calc.errors import RELATIVE_SLACK, require_range
from calc.evidence import Evidence, Meter
from calc.meters import MeterColumns, highest_reading, range_columns
from calc.temperature import coil_temperature

MOST_STAGES = 8
RULES = ("simple", "guarded", "max_false_accept")
SIMPLE, GUARDED, MAX_FALSE_ACCEPT = range(3)
LOWEST_RATED_CURRENT_A = 1e-3
# Judgement, not data: within what a rating's "cold" is meant, where it states no temperature.
ASSUMED_REFERENCE_TEMPERATURE_BOUND_C = 5.0
# Judgement, not data: how well an auxiliary load's current is known where no bound is given.
AUXILIARY_LOAD_BOUND_SHARE = 0.2
_NO_AUXILIARY_LOADS = (0.0, 0.0, 0.0, 0.0)

# What holds for a whole inspection, in the order of its numbers: name, lowest, highest, whether it may be absent.
_METER_RANGES = (
    ("accuracy_percent", 0.0, HIGHEST_READING, False),
    ("accuracy_counts × resolution", 0.0, HIGHEST_READING**2, False),
    ("resolution", 0.0, HIGHEST_READING, False),
    ("range_max", -np.inf, np.inf, True),
)
_RANGES = (
    ("stages", 1.0, MOST_STAGES, False),
    ("reference_voltage_v", 0.0, HIGHEST_READING, True),
    ("reference_temperature_c", LOWEST_COIL_TEMPERATURE_C, HIGHEST_COIL_TEMPERATURE_C, False),
    ("tolerance_percent", 0.0, HIGHEST_READING, True),
    ("tolerance_percent", 0.0, HIGHEST_READING, True),
    *_METER_RANGES,
    *_METER_RANGES,
    ("coil_temperature_c", LOWEST_COIL_TEMPERATURE_C, HIGHEST_COIL_TEMPERATURE_C, False),
    ("coil_temperature_bound_c", 0.0, HIGHEST_READING, False),
    ("rest.supply_voltage_v", -np.inf, np.inf, True),
    ("rest.current_a", -HIGHEST_READING, HIGHEST_READING, True),
    ("electronic drive", 0.0, 1.0, False),
    ("decision rule", 0.0, len(RULES) - 1, False),
    ("max_false_accept_probability", -np.inf, np.inf, True),
    ("reference_temperature_bound_c", 0.0, HIGHEST_READING, False),
    ("auxiliary load current_a", 0.0, HIGHEST_READING, False),
    ("auxiliary load bound_a", 0.0, HIGHEST_READING, False),
    ("auxiliary load current_a", 0.0, HIGHEST_READING, False),
    ("auxiliary load bound_a", 0.0, HIGHEST_READING, False),
)
_LOWEST = np.array([[lowest] for _, lowest, _, _ in _RANGES])
_HIGHEST = np.array([[highest] for _, _, highest, _ in _RANGES])
_MAY_BE_ABSENT = np.array([[absent] for _, _, _, absent in _RANGES])


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
    reference_temperature_bound_c: Floats
    auxiliary_always_a: Floats
    auxiliary_always_bound_a: Floats
    auxiliary_on_a: Floats
    auxiliary_on_bound_a: Floats


@dataclass(frozen=True, slots=True)
class Readings:
    """Stage readings in any order; stages count from 0, `energised` has bit k set for stage k.

    `seconds_on` is NaN where it was not noted.
    """

    inspection: Ints
    stage: Ints
    energised: Ints
    supply_voltage_v: Floats
    current_a: Floats
    seconds_on: Floats


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
    numbers = np.array([_numbers(evidence) for evidence in evidences], dtype=np.float64)
    numbers = np.ascontiguousarray(numbers.reshape(len(evidences), len(_RANGES)).T)
    columns = Columns(_conditions(evidences, numbers), _readings(evidences))
    _require_plausible(columns, numbers)
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


def _conditions(evidences: Sequence[Evidence], numbers: Floats) -> Conditions:
    padding = (None,) * MOST_STAGES
    rated = [(evidence.rating.rated_currents_a + padding)[:MOST_STAGES] for evidence in evidences]
    return Conditions(
        rated_currents_a=np.array(rated, dtype=np.float64).reshape(len(evidences), MOST_STAGES),
        stages=numbers[0].astype(np.int64),
        reference_voltage_v=numbers[1],
        reference_temperature_c=numbers[2],
        tolerance_lower_percent=numbers[3],
        tolerance_upper_percent=numbers[4],
        ammeter=_meter_columns(numbers[5:9], [evidence.ammeter for evidence in evidences]),
        voltmeter=_meter_columns(numbers[9:13], [evidence.voltmeter for evidence in evidences]),
        coil_temperature_c=numbers[13],
        coil_temperature_bound_c=numbers[14],
        rest_voltage_v=numbers[15],
        rest_current_a=numbers[16],
        electronic_drive=numbers[17] > 0,
        rule=numbers[18].astype(np.int64),
        max_false_accept_probability=numbers[19],
        reference_temperature_bound_c=numbers[20],
        auxiliary_always_a=numbers[21],
        auxiliary_always_bound_a=numbers[22],
        auxiliary_on_a=numbers[23],
        auxiliary_on_bound_a=numbers[24],
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
        ASSUMED_REFERENCE_TEMPERATURE_BOUND_C if rating.reference_temperature_assumed else 0.0,
        *(_auxiliary_numbers(evidence) if evidence.relay_box.auxiliary_loads else _NO_AUXILIARY_LOADS),
    )


def _auxiliary_numbers(evidence: Evidence) -> tuple[float, float, float, float]:
    always_a = always_bound_a = on_a = on_bound_a = 0.0
    for load in evidence.relay_box.auxiliary_loads:
        bound_a = AUXILIARY_LOAD_BOUND_SHARE * load.current_a if load.bound_a is None else load.bound_a
        if load.when == "always":
            always_a, always_bound_a = always_a + load.current_a, always_bound_a + bound_a
        else:
            on_a, on_bound_a = on_a + load.current_a, on_bound_a + bound_a
    return always_a, always_bound_a, on_a, on_bound_a


def _meter_columns(figures: Floats, meters: Sequence[Meter]) -> MeterColumns:
    accuracy_percent, counts_half_width, resolution, range_max = figures
    return MeterColumns(accuracy_percent, counts_half_width, resolution, range_max, range_columns(meters))


def _meter_numbers(meter: Meter) -> tuple[float | None, ...]:
    counts_half_width = meter.accuracy_counts * meter.resolution
    return meter.accuracy_percent, counts_half_width, meter.resolution, highest_reading(meter)


def _readings(evidences: Sequence[Evidence]) -> Readings:
    whole: list[tuple[int, int, int]] = []
    measured: list[tuple[float, float, float | None]] = []
    for inspection, evidence in enumerate(evidences):
        for reading in evidence.stage_readings:
            whole.append((inspection, reading.stage - 1, energised_bits(reading.energised)))
            measured.append((reading.supply_voltage_v, reading.current_a, reading.seconds_on))
    integers = np.array(whole, dtype=np.int64).reshape(-1, 3)
    floats = np.array(measured, dtype=np.float64).reshape(-1, 3)
    return Readings(integers[:, 0], integers[:, 1], integers[:, 2], *floats.T)


def _require_plausible(columns: Columns, numbers: Floats) -> None:
    _require_conditions(numbers)
    conditions, readings = columns.conditions, columns.readings
    visit, stages = readings.inspection, conditions.stages
    counts_a = conditions.ammeter.at(visit, readings.current_a).counts_half_width
    require_range("supply_voltage_v", readings.supply_voltage_v, 0.0, HIGHEST_READING)
    require_range("current_a", readings.current_a, -counts_a * (1 + RELATIVE_SLACK), HIGHEST_READING)
    require_range("seconds_on", readings.seconds_on, 0.0, HIGHEST_READING, absent_allowed=True)
    require_range("stage", readings.stage + 1, 1, stages[visit])
    require_range("energised inputs as bits", readings.energised, 1, 2.0 ** stages[visit] - 1)
    require_range("energised inputs that are the stage's", (readings.energised >> readings.stage) & 1, 1, 1)
    require_range(
        "rated_current_a", conditions.rated_currents_a, LOWEST_RATED_CURRENT_A, HIGHEST_READING, absent_allowed=True
    )
    _require_probability(conditions)


def _require_conditions(numbers: Floats) -> None:
    # All at once, for one visit is judged in less time than so many checks take; the first that fails is named.
    if (~((numbers < _LOWEST) | (numbers > _HIGHEST)) & (_MAY_BE_ABSENT | ~np.isnan(numbers))).all():
        return
    for (quantity, lowest, highest, absent_allowed), values in zip(_RANGES, numbers, strict=True):
        require_range(quantity, values, lowest, highest, absent_allowed=absent_allowed)


def _require_probability(conditions: Conditions) -> None:
    asked = conditions.rule == MAX_FALSE_ACCEPT
    if asked.any():
        probability = conditions.max_false_accept_probability[asked]
        require_range("max_false_accept_probability", probability, np.nextafter(0.0, 1.0), 0.5)
