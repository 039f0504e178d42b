"""One simulated session: the check, then every reading that the ranking asks for, until it asks for none."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from time import perf_counter

import numpy as np

from calc.arrays import Bools
from calc.circuit import passes, solve
from calc.circuit_solution import Solution
from calc.diagnosis.rank import Ranking, rank
from calc.evidence import Evidence, ExtraReading, Meter, RestReading, StageReading
from calc.judgement import NextReading
from inspections.bench.cases import Case

AMPS_NOISE, VOLTS_NOISE = 0.003, 0.0015
MOST_ASKED = 8
LIVE_SHARE = 0.35


@dataclass(frozen=True, slots=True)
class Session:
    """How one case went."""

    case: Case
    first: Ranking
    last: Ranking
    asked: tuple[str, ...]
    seconds: float


def play(case: Case, generator: np.random.Generator, *, ask: bool = True) -> Session:
    """Return the session of a case; the reading taken is always the one asked for, none where `ask` is false."""
    evidence = checked(case, generator)
    started = perf_counter()
    first = ranking = rank(evidence)
    seconds = perf_counter() - started
    asked: list[str] = []
    while ask and ranking.next_reading is not None and len(asked) < MOST_ASKED:
        asked.append(ranking.next_reading.kind)
        taken = extra_reading(case, ranking.next_reading, generator)
        evidence = replace(evidence, extra_readings=(*evidence.extra_readings, taken))
        ranking = rank(evidence)
    return Session(case, first, ranking, tuple(asked), seconds)


def checked(case: Case, generator: np.random.Generator) -> Evidence:
    """Return a visit: rest, every stage alone, and a cumulative pass."""
    single, cumulative = passes(case.rating.stages)
    rest = _solved(case, ())
    readings = [_stage_reading(case, tuple(_numbers(on)), generator) for on in [*single, *cumulative[2:]]]
    return Evidence(
        rating=case.rating,
        ammeter=case.ammeter,
        voltmeter=case.voltmeter,
        coil_temperature_c=case.stated_temperature_c,
        coil_temperature_bound_c=case.temperature_bound_c,
        coil_temperature_method="measured",
        stage_readings=tuple(readings),
        rest=RestReading(_volts(case, float(rest.supply_voltage_v), generator), _total_a(case, rest, generator)),
        cables=case.cables,
    )


def extra_reading(case: Case, asked: NextReading, generator: np.random.Generator) -> ExtraReading:
    """Return the reading that was asked for."""
    found = _solved(case, asked.energised)
    stage = None if asked.stage is None else asked.stage - 1
    value = READ[asked.kind](case, found, asked, generator)
    over_range = not np.isfinite(value)
    stage_number = None if stage is None else stage + 1
    shown = None if over_range else value
    return ExtraReading(asked.kind, shown, stage_number, asked.coil, asked.energised, over_range)


def _place(asked: NextReading) -> int:
    """Return the stage asked for, counted from 0."""
    if asked.stage is None:
        raise ValueError(f"{asked.kind} is read at a stage")
    return asked.stage - 1


def _numbers(on: Bools) -> list[int]:
    return [int(place) + 1 for place in np.flatnonzero(on)]


def _outputs(case: Case, inputs: tuple[int, ...]) -> list[bool]:
    there = {} if case.exchanged_inputs is None else dict([case.exchanged_inputs, case.exchanged_inputs[::-1]])
    commanded = {there.get(stage, stage) for stage in inputs}
    return [not case.none_close and stage in commanded for stage in range(1, case.rating.stages + 1)]


def _solved(case: Case, inputs: tuple[int, ...]) -> Solution:
    return solve(case.circuit, _outputs(case, inputs))


def _stage_reading(case: Case, inputs: tuple[int, ...], generator: np.random.Generator) -> StageReading:
    found = _solved(case, inputs)
    live = found.output_voltage_v > LIVE_SHARE * case.rating.system_voltage_v
    return StageReading(
        inputs[-1],
        inputs,
        max(_volts(case, float(found.supply_voltage_v), generator), 0.0),
        _total_a(case, found, generator),
        outputs_live=tuple(_numbers(live)) if case.outputs_looked_at else None,
    )


def _shown(value: float, noise: float, meter: Meter, generator: np.random.Generator) -> float:
    counts = round(value * (1 + generator.normal(0, noise)) / meter.resolution)
    return round(counts * meter.resolution, 6)


def _volts(case: Case, value: float, generator: np.random.Generator) -> float:
    return _shown(value * case.volt_gain, VOLTS_NOISE, case.voltmeter, generator)


def _total_a(case: Case, found: Solution, generator: np.random.Generator) -> float:
    return _shown(float(found.current_a) * case.clamp_gain + case.clamp_zero_a, AMPS_NOISE, case.ammeter, generator)


def _stage_volts(name: str) -> Callable[[Case, Solution, NextReading, np.random.Generator], float]:
    def read(case: Case, found: Solution, asked: NextReading, generator: np.random.Generator) -> float:
        return _volts(case, float(getattr(found, name)[_place(asked)]), generator)

    return read


def _unit_volts(name: str) -> Callable[[Case, Solution, NextReading, np.random.Generator], float]:
    def read(case: Case, found: Solution, asked: NextReading, generator: np.random.Generator) -> float:
        return _volts(case, float(getattr(found, name)), generator)

    return read


def _stage_current(case: Case, found: Solution, asked: NextReading, generator: np.random.Generator) -> float:
    amps = float(found.stage_current_a[_place(asked)]) * case.lead_clamp_gain + case.clamp_zero_a
    return _shown(amps, AMPS_NOISE, case.ammeter, generator)


def _quiescent(case: Case, found: Solution, asked: NextReading, generator: np.random.Generator) -> float:
    return _total_a(case, found, generator)


def _coil_drop(case: Case, found: Solution, asked: NextReading, generator: np.random.Generator) -> float:
    string, place = divmod((asked.coil or 1) - 1, case.rating.coils_in_series)
    stage = _place(asked)
    ohm = case.circuit.coil_ohm[stage, string] * (234.5 + float(np.asarray(case.circuit.coil_temperature_c))) / 254.5
    if not np.isfinite(ohm).all():
        across = float(found.lead_end_v[stage] - found.frame_v) if not np.isfinite(ohm[place]) else 0.0
    else:
        across = float(found.string_current_a[stage, string] * ohm[place])
    return _volts(case, across, generator)


def _coil_resistance(case: Case, _: Solution, asked: NextReading, generator: np.random.Generator) -> float:
    stage = _place(asked)
    with np.errstate(divide="ignore"):
        strings = 1.0 / case.circuit.coil_ohm[stage].sum(axis=-1)
        group = np.divide(1.0, strings.sum()) * (234.5 + float(np.asarray(case.circuit.coil_temperature_c))) / 254.5
    lead = np.broadcast_to(case.circuit.harness_ohm + case.circuit.stage_joint_ohm, (case.rating.stages,))[stage]
    return float((group + lead) * (1 + generator.normal(0, 0.01)) + generator.normal(0, 0.001))


def _insulation(case: Case, _: Solution, asked: NextReading, generator: np.random.Generator) -> float:
    if case.frame_short is not None and case.frame_short[0] == asked.stage:
        return case.frame_short[1] + float(generator.uniform(0.0, 0.5))
    return float("inf") if generator.uniform() < 0.5 else float(10 ** generator.uniform(6.0, 8.0))


def _control_voltage(case: Case, _: Solution, asked: NextReading, generator: np.random.Generator) -> float:
    arrives = asked.stage in asked.energised and asked.stage != case.missing_control
    return _volts(case, float(case.circuit.emf_v) if arrives else 0.0, generator)


READ: dict[str, Callable[[Case, Solution, NextReading, np.random.Generator], float]] = {
    "output_voltage": _stage_volts("output_voltage_v"),
    "contact_drop": _stage_volts("contact_drop_v"),
    "fuse_drop": _stage_volts("fuse_drop_v"),
    "stage_current": _stage_current,
    "control_voltage": _control_voltage,
    "coil_resistance": _coil_resistance,
    "coil_drop": _coil_drop,
    "insulation_resistance": _insulation,
    "supply_drop": _unit_volts("supply_drop_v"),
    "chassis_ground_drop": _unit_volts("chassis_ground_drop_v"),
    "frame_ground_drop": _unit_volts("frame_ground_drop_v"),
    "battery_voltage": _unit_volts("battery_voltage_v"),
    "quiescent_current": _quiescent,
}
