"""Two hundred judgements of invented visits kept to 12 digits: a changed digit needs a new method version.

`python -m tests.calc.test_golden --write` regenerates the file after the version has been raised.
"""

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from math import isclose
from pathlib import Path
from random import Random
from typing import Any, TypeVar

from calc.evidence import (
    DecisionRule,
    EngineState,
    Evidence,
    Meter,
    Rating,
    RelayBox,
    RestReading,
    StageReading,
    TemperatureMethod,
)
from calc.judge import judge_batch
from calc.method import METHOD_VERSION

GOLDEN = Path(__file__).with_name("golden_judgements.json")
NUMBER = 200
SEED = 20260503
METHODS: tuple[TemperatureMethod | None, ...] = (
    None,
    "measured",
    "parked",
    "cold_resistance",
    "cooling_model",
    "unknown",
)
RULES: tuple[DecisionRule, ...] = ("guarded", "simple", "max_false_accept")
ENGINE_STATES: tuple[EngineState, ...] = ("off", "idle", "high_idle")
LEVELS = (1.0, 1.0, 1.0, 1.0, 0.9, 0.7, 0.0, 1.5)
Option = TypeVar("Option")


class Invented:
    """Invented figures from the one generator method whose sequence is guaranteed over versions."""

    def __init__(self) -> None:
        self._draw = Random(SEED).random

    def chance(self, probability: float) -> bool:
        return self._draw() < probability

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self._draw()

    def whole(self, low: int, high: int) -> int:
        return low + int((high - low + 1) * self._draw())

    def one_of(self, options: Sequence[Option]) -> Option:
        return options[self.whole(0, len(options) - 1)]


def evidences() -> list[Evidence]:
    """Return visits to units healthy and faulty."""
    invented = Invented()
    return [_evidence(invented) for _ in range(NUMBER)]


def _evidence(invented: Invented) -> Evidence:
    system_v, coil_c = invented.one_of((12.0, 24.0)), float(invented.whole(-10, 120))
    unit = _rating(invented, system_v)
    return Evidence(
        rating=unit,
        ammeter=Meter(invented.one_of((1.0, 2.0, 3.0)), 5, 0.1, invented.one_of((150.0, 1000.0))),
        voltmeter=Meter(0.5, 2, 0.01),
        coil_temperature_c=coil_c,
        coil_temperature_bound_c=float(invented.whole(1, 20)),
        stage_readings=_readings(invented, unit, system_v * 254.5 / (234.5 + coil_c)),
        coil_temperature_method=invented.one_of(METHODS),
        rest=None if invented.chance(0.3) else RestReading(1.18 * system_v, round(invented.between(-1, 1), 1)),
        engine_state=invented.one_of(ENGINE_STATES),
        relay_box=RelayBox(drive="electronic" if invented.chance(0.03) else "relay", lamps=unit.stages),
        stages_not_read=(unit.stages,) if invented.chance(0.05) else (),
        decision_rule=invented.one_of(RULES),
        max_false_accept_probability=0.05,
    )


def _rating(invented: Invented, system_v: float) -> Rating:
    return Rating(
        rated_currents_a=tuple(float(invented.whole(15, 50)) for _ in range(invented.whole(1, 6))),
        reference_voltage_v=None if invented.chance(0.1) else system_v,
        reference_temperature_c=invented.one_of((20.0, 25.0)),
        tolerance_lower_percent=None if invented.chance(0.05) else 10.0,
        tolerance_upper_percent=None if invented.chance(0.05) else 10.0,
        system_voltage_v=system_v,
        coils_in_series=4,
        coils_in_parallel=1,
    )


def _readings(invented: Invented, unit: Rating, cold_equivalent_v: float) -> tuple[StageReading, ...]:
    levels = [invented.one_of(LEVELS) * invented.between(0.97, 1.03) for _ in unit.rated_currents_a]
    amps_per_volt = [a * level / unit.system_voltage_v for a, level in zip(unit.rated_currents_a, levels, strict=True)]
    cooling = cold_equivalent_v / unit.system_voltage_v
    passes, readings = invented.whole(1, 3), []
    for stage in range(1, unit.stages + 1):
        if passes & 1:
            alone = amps_per_volt[stage - 1] * cooling
            readings += [_reading(invented, unit, (stage,), alone) for _ in range(invented.whole(1, 3))]
        if passes & 2:
            readings.append(_reading(invented, unit, tuple(range(1, stage + 1)), sum(amps_per_volt[:stage]) * cooling))
    return tuple(readings)


def _reading(invented: Invented, unit: Rating, energised: tuple[int, ...], conductance_s: float) -> StageReading:
    volts = 0.0 if invented.chance(0.01) else round(unit.system_voltage_v * invented.between(1.0, 1.16), 2)
    amps = round(conductance_s * volts * invented.between(0.995, 1.005), 1)
    live = energised if invented.chance(0.97) else ()
    return StageReading(energised[-1], energised, volts, amps, 8.0, live, energised)


def kept(value: Any) -> Any:
    """Return the answer as JSON keeps it, floats to 12 significant digits."""
    if isinstance(value, float):
        return float(f"{value:.12g}")
    if isinstance(value, dict):
        return {key: kept(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [kept(part) for part in value]
    return value


def differences(now: Any, golden: Any, path: str = "") -> Iterator[str]:
    """Name what differs by more than another mathematics library may make it: half a unit of the 11th digit."""
    if isinstance(now, float) and isinstance(golden, float):
        if not isclose(now, golden, rel_tol=5e-12, abs_tol=1e-12):
            yield f"{path}: {now} was {golden}"
    elif isinstance(now, dict) and isinstance(golden, dict) and now.keys() == golden.keys():
        for key, part in now.items():
            yield from differences(part, golden[key], f"{path}.{key}")
    elif isinstance(now, list) and isinstance(golden, list) and len(now) == len(golden):
        for index, part in enumerate(now):
            yield from differences(part, golden[index], f"{path}[{index}]")
    elif now != golden:
        yield f"{path}: {now} was {golden}"


def judgements() -> list[Any]:
    return [kept(asdict(judgement)) for judgement in judge_batch(evidences())]


def test_no_digit_of_200_judgements_changes_without_a_new_method_version() -> None:
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))
    assert golden["method_version"] == METHOD_VERSION
    assert len(golden["judgements"]) == NUMBER
    assert list(differences(judgements(), golden["judgements"])) == []


def test_one_changed_digit_is_seen() -> None:
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))["judgements"]
    changed = json.loads(json.dumps(golden))
    judged = next(judged for judgement in changed for judged in judgement["stages"] if judged["normalised_current_a"])
    judged["normalised_current_a"] *= 1 + 1e-11
    assert len(list(differences(changed, golden))) == 1


def test_the_golden_judgements_hold_every_verdict() -> None:
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))["judgements"]
    stage_verdicts = {judged["verdict"] for judgement in golden for judged in judgement["stages"]}
    assert stage_verdicts == {"pass", "conditional_pass", "conditional_fail", "fail", "undetermined"}
    assert {judgement["verdict"] for judgement in golden} == stage_verdicts


def write() -> None:
    """Write the file, refusing to overwrite other digits of the same method version."""
    now = {"method_version": METHOD_VERSION, "judgements": judgements()}
    if GOLDEN.exists():
        before = json.loads(GOLDEN.read_text(encoding="utf-8"))
        if before["method_version"] == METHOD_VERSION and [*differences(now["judgements"], before["judgements"])]:
            sys.exit("Digits changed under one method version: raise METHOD_VERSION in calc/method.py first.")
    lines = ",\n".join(json.dumps(judgement, separators=(",", ":")) for judgement in now["judgements"])
    GOLDEN.write_text(f'{{"method_version":"{METHOD_VERSION}","judgements":[\n{lines}\n]}}\n', encoding="utf-8")


if __name__ == "__main__" and "--write" in sys.argv:
    write()
