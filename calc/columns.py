"""Evidence as columns: one row per inspection, one row per reading, so that one or many are judged alike."""

from collections.abc import Sequence
from functools import lru_cache
from math import nan
from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, anywhere, everywhere
from calc.copper import HIGHEST_READING
from calc.errors import RELATIVE_SLACK, require_range
from calc.evidence import Evidence, Meter, Rating, RelayBox
from calc.meters import MeterColumns, highest_reading, range_columns
from calc.tables import KIT, MOST_STAGES, RULES, VISIT
from calc.temperature import judged_temperature_c

SIMPLE, GUARDED, MAX_FALSE_ACCEPT = range(3)
LOWEST_RATED_CURRENT_A = 1e-3
# Judgement, not data: within what a rating's "cold" is meant, where it states no temperature.
ASSUMED_REFERENCE_TEMPERATURE_BOUND_C = 5.0
# Judgement, not data: how well an auxiliary load's current is known where no bound is given.
AUXILIARY_LOAD_BOUND_SHARE = 0.2
_RULE_NUMBER = {rule: number for number, rule in enumerate(RULES)}
_NO_AUXILIARY_LOADS = (0.0, 0.0, 0.0, 0.0)
_NO_STAGES = (nan,) * MOST_STAGES
Kit = tuple[Rating, Meter, Meter, RelayBox]


class Conditions(NamedTuple):
    """What holds for a whole inspection; NaN where the evidence states nothing."""

    rated_currents_a: Floats
    stages: Ints
    reference_voltage_v: Floats
    reference_temperature_c: Floats
    reference_temperature_bound_c: Floats
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
    auxiliary_always_a: Floats
    auxiliary_always_bound_a: Floats
    auxiliary_on_a: Floats
    auxiliary_on_bound_a: Floats


class Readings(NamedTuple):
    """Stage readings in any order; stages count from 0, `energised` has bit k set for stage k.

    `seconds_on` is NaN where it was not noted.
    """

    inspection: Ints
    stage: Ints
    energised: Ints
    supply_voltage_v: Floats
    current_a: Floats
    seconds_on: Floats


class Columns(NamedTuple):
    """A batch of inspections."""

    conditions: Conditions
    readings: Readings


def columns_of(evidences: Sequence[Evidence]) -> Columns:
    """Return the evidence as checked columns.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    Notes
    -----
    Visits share ratings, meters and boxes: each such kit is read and checked once, however many visits it stands in.
    """
    kits, kit = _kits(evidences)
    shared = KIT.numbers(list(zip(*map(_kit_numbers, kits), strict=True)) or [()] * len(KIT.ranges))
    rated = np.array([_padded(rating.rated_currents_a) for rating, *_ in kits]).reshape(len(kits), MOST_STAGES)
    if len(kits) < len(evidences):
        shared, rated = shared[:, kit], rated[kit]
    coil_c, bound_c, rest_v, rest_a, rule, false_accept = VISIT.numbers(_visit_columns(evidences))
    conditions = Conditions(
        rated_currents_a=rated,
        stages=shared[0].astype(np.int64),
        reference_voltage_v=shared[1],
        reference_temperature_c=shared[2],
        reference_temperature_bound_c=shared[3],
        tolerance_lower_percent=shared[4],
        tolerance_upper_percent=shared[5],
        ammeter=MeterColumns(
            shared[6], shared[7], shared[8], shared[9], range_columns([ammeter for _, ammeter, _, _ in kits], kit)
        ),
        voltmeter=MeterColumns(
            shared[10],
            shared[11],
            shared[12],
            shared[13],
            range_columns([voltmeter for _, _, voltmeter, _ in kits], kit),
        ),
        coil_temperature_c=coil_c,
        coil_temperature_bound_c=bound_c,
        rest_voltage_v=rest_v,
        rest_current_a=rest_a,
        electronic_drive=shared[14] > 0,
        rule=rule.astype(np.int64),
        max_false_accept_probability=false_accept,
        auxiliary_always_a=shared[15],
        auxiliary_always_bound_a=shared[16],
        auxiliary_on_a=shared[17],
        auxiliary_on_bound_a=shared[18],
    )
    columns = Columns(conditions, _readings(evidences))
    _require_plausible(columns)
    return columns


def _kits(evidences: Sequence[Evidence]) -> tuple[list[Kit], Ints]:
    """Return each kit once, and which of them every visit was read with."""
    places: dict[tuple[int, int, int, int], int] = {}
    kits: list[Kit] = []
    index = []
    for evidence in evidences:
        kit = (evidence.rating, evidence.ammeter, evidence.voltmeter, evidence.relay_box)
        place = places.setdefault((id(kit[0]), id(kit[1]), id(kit[2]), id(kit[3])), len(kits))
        if place == len(kits):
            kits.append(kit)
        index.append(place)
    return kits, np.array(index, dtype=np.int64)


@lru_cache(maxsize=1024)
def energised_bits(energised: tuple[int, ...]) -> int:
    """Return the control inputs as a number with bit k − 1 set for input k.

    Examples
    --------
    >>> energised_bits((1, 3))
    5
    """
    bits = 0
    for control_input in energised:
        bits |= 1 << control_input
    return bits >> 1


def _padded(rated_currents_a: tuple[float, ...]) -> tuple[float, ...]:
    return (rated_currents_a + _NO_STAGES)[:MOST_STAGES]


def _kit_numbers(kit: Kit) -> tuple[float | None, ...]:
    rating, ammeter, voltmeter, box = kit
    return (
        rating.stages,
        rating.reference_voltage_v,
        rating.reference_temperature_c,
        ASSUMED_REFERENCE_TEMPERATURE_BOUND_C if rating.reference_temperature_assumed else 0.0,
        rating.tolerance_lower_percent,
        rating.tolerance_upper_percent,
        *_meter_numbers(ammeter),
        *_meter_numbers(voltmeter),
        box.drive == "electronic",
        *(_auxiliary_numbers(box) if box.auxiliary_loads else _NO_AUXILIARY_LOADS),
    )


def _visit_columns(evidences: Sequence[Evidence]) -> list[list[float | None]]:
    # One list a quantity: thousands of small tuples would cost more than the arithmetic that follows.
    coils = [judged_temperature_c(evidence) for evidence in evidences]
    rests = [evidence.rest for evidence in evidences]
    return [
        [coil[0] for coil in coils],
        [coil[1] for coil in coils],
        [rest.supply_voltage_v if rest else None for rest in rests],
        [rest.current_a if rest else None for rest in rests],
        [_RULE_NUMBER[evidence.decision_rule] for evidence in evidences],
        [evidence.max_false_accept_probability for evidence in evidences],
    ]


def _auxiliary_numbers(box: RelayBox) -> tuple[float, float, float, float]:
    always_a = always_bound_a = on_a = on_bound_a = 0.0
    for load in box.auxiliary_loads:
        bound_a = AUXILIARY_LOAD_BOUND_SHARE * load.current_a if load.bound_a is None else load.bound_a
        if load.when == "always":
            always_a, always_bound_a = always_a + load.current_a, always_bound_a + bound_a
        else:
            on_a, on_bound_a = on_a + load.current_a, on_bound_a + bound_a
    return always_a, always_bound_a, on_a, on_bound_a


def _meter_numbers(meter: Meter) -> tuple[float | None, ...]:
    counts_half_width = meter.accuracy_counts * meter.resolution
    return meter.accuracy_percent, counts_half_width, meter.resolution, highest_reading(meter)


def _readings(evidences: Sequence[Evidence]) -> Readings:
    taken = [reading for evidence in evidences for reading in evidence.stage_readings]
    number = [len(evidence.stage_readings) for evidence in evidences]
    volts_amps_seconds = (
        [reading.supply_voltage_v for reading in taken],
        [reading.current_a for reading in taken],
        [reading.seconds_on for reading in taken],
    )
    return Readings(
        np.arange(len(evidences)).repeat(number),
        np.array([reading.stage - 1 for reading in taken], dtype=np.int64),
        np.array([energised_bits(reading.energised) for reading in taken], dtype=np.int64),
        *np.array(volts_amps_seconds, dtype=np.float64),
    )


def _require_plausible(columns: Columns) -> None:
    conditions, readings = columns.conditions, columns.readings
    visit, rated_a = readings.inspection, conditions.rated_currents_a
    stages = conditions.stages[visit]
    counts_a = conditions.ammeter.at(visit, readings.current_a).counts_half_width
    lowest_a = -counts_a * (1 + RELATIVE_SLACK)
    # As in a table: one look at everything, and names only where something fails.
    if anywhere((rated_a < LOWEST_RATED_CURRENT_A) | (rated_a > HIGHEST_READING)):
        require_range("rated_current_a", rated_a, LOWEST_RATED_CURRENT_A, HIGHEST_READING, absent_allowed=True)
    if not everywhere(_are_plausible(readings, lowest_a, stages)):
        require_range("supply_voltage_v", readings.supply_voltage_v, 0.0, HIGHEST_READING)
        require_range("current_a", readings.current_a, lowest_a, HIGHEST_READING)
        require_range("seconds_on", readings.seconds_on, 0.0, HIGHEST_READING, absent_allowed=True)
        require_range("stage", readings.stage + 1, 1, stages)
        require_range("energised inputs as bits", readings.energised, 1, 2.0**stages - 1)
        require_range("energised inputs that are the stage's", (readings.energised >> readings.stage) & 1, 1, 1)
    _require_probability(conditions)


def _are_plausible(readings: Readings, lowest_a: Floats, stages: Ints) -> Bools:
    volts, amps, late = readings.supply_voltage_v, readings.current_a, readings.seconds_on
    plausible: Bools = (
        (volts >= 0.0)
        & (volts <= HIGHEST_READING)
        & (amps >= lowest_a)
        & (amps <= HIGHEST_READING)
        & ~((late < 0.0) | (late > HIGHEST_READING))
        & (readings.stage >= 0)
        & (readings.stage < stages)
        & (readings.energised > 0)
        & (readings.energised >> stages == 0)
    )
    return plausible & ((readings.energised >> np.maximum(readings.stage, 0)) & 1 > 0)


def _require_probability(conditions: Conditions) -> None:
    asked = conditions.rule == MAX_FALSE_ACCEPT
    if anywhere(asked):
        probability = conditions.max_false_accept_probability[asked]
        require_range("max_false_accept_probability", probability, np.nextafter(0.0, 1.0), 0.5)
