"""What a technician reads and writes down on one simulated visit: a document in the shape the API accepts."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from math import cos, tau
from typing import Any

import numpy as np

from calc.arrays import Bools
from calc.circuit import Circuit, solve
from calc.circuit_solution import Solution
from inspections.simulation.units import Row, SimulatedMeter

# Assumed: coils at 5 A/mm², no airflow; and how closely each way knows the coil temperature.
HEATING_K_PER_S = 0.1
TEMPERATURE_BOUND_C = {"parked": 3, "measured": 5}
EMF_V = {"off": (12.5, 12.8), "idle": (13.8, 14.1), "high_idle": (14.0, 14.3)}
# A battery alone gives way more than with the alternator behind it.
SOURCE_FACTOR = {"off": 2.5, "idle": 1.0, "high_idle": 1.0}
WARMEST_DAY_OF_YEAR = 200

VOLTAGE_READINGS: dict[str, Callable[[Solution, int], float]] = {
    "output_voltage": lambda found, stage: float(found.output_voltage_v[stage - 1]),
    "contact_drop": lambda found, stage: float(found.contact_drop_v[stage - 1]),
    "fuse_drop": lambda found, stage: float(found.fuse_drop_v[stage - 1]),
    "supply_drop": lambda found, _: float(found.supply_drop_v),
    "frame_ground_drop": lambda found, _: float(found.frame_ground_drop_v),
    "chassis_ground_drop": lambda found, _: float(found.chassis_ground_drop_v),
    "battery_voltage": lambda found, _: float(found.battery_voltage_v),
}


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """What is to be done on one visit, and how the coil temperature is come by."""

    installation: str
    day: int
    username: str
    purpose: str
    coil_temperature_method: str
    engine_state: str
    cumulative: bool
    notes: str
    coil_temperature_true_c: float | None = None
    stages: tuple[int, ...] = ()
    extra_readings: Sequence[Row] = ()


@dataclass(slots=True)
class Capture:
    """One visit under way: the unit, the box, the meters in hand, and how warm the coils are by now."""

    circuit: Circuit
    relay_box_type: Row
    ammeter: SimulatedMeter
    voltmeter: SimulatedMeter
    generator: np.random.Generator
    coil_temperature_c: float
    clamp_zero_a: float
    seconds_on: Mapping[int, float] = field(default_factory=dict)

    def document(self, planned: PlannedVisit) -> dict[str, Any]:
        """Return the readings part of the document: rest, stages and extra readings."""
        commanded = _passes(self.circuit.stages, planned)
        # A retest looks at everything its defects were about.
        always = planned.purpose == "retest"
        rest = self._solved(())
        document: dict[str, Any] = {
            "rest": {
                "supply_voltage_v": self._volts(float(rest.supply_voltage_v)),
                "current_a": self._amps(float(rest.current_a)),
            },
            "stage_readings": [
                self._stage_reading(stage, energised, outputs_noted=always) for stage, energised in commanded
            ],
        }
        if planned.extra_readings:
            document["extra_readings"] = [self._extra_reading(wanted) for wanted in planned.extra_readings]
        return document

    def _stage_reading(self, stage: int, energised: tuple[int, ...], *, outputs_noted: bool) -> dict[str, Any]:
        seconds_on = int(self.generator.integers(4, 10))
        self.seconds_on = {k: self.seconds_on.get(k, 0.0) + seconds_on * (k in energised) for k in self._all_stages()}
        found = self._solved(energised)
        auxiliary_a = sum(load["current_a"] for load in self.relay_box_type["auxiliary_loads"])
        reading: dict[str, Any] = {
            "stage": stage,
            "energised": list(energised),
            "supply_voltage_v": self._volts(float(found.supply_voltage_v)),
            "current_a": self._amps(float(found.current_a) + auxiliary_a),
            "seconds_on": seconds_on,
        }
        live = [k for k in self._all_stages() if found.output_voltage_v[k - 1] > 0.5 * found.supply_voltage_v]
        if self.generator.random() < 0.6 or outputs_noted:
            reading["outputs_live"] = live
        lamps = self.relay_box_type["lamps"]
        if lamps:
            reading["lamps_lit"] = live if lamps == self.circuit.stages else [1]
        return reading

    def _extra_reading(self, wanted: Row) -> dict[str, Any]:
        reading = {"kind": wanted["kind"], "stage": wanted["stage"]}
        if wanted["kind"] == "insulation_resistance":
            return reading | {"energised": [], "value": None, "over_range": True}
        found = self._solved(self._all_stages())
        value = self._volts(VOLTAGE_READINGS[wanted["kind"]](found, wanted["stage"] or 0))
        return reading | {"energised": list(self._all_stages()), "value": value}

    def _solved(self, energised: tuple[int, ...]) -> Solution:
        warmed = [self.coil_temperature_c + HEATING_K_PER_S * self.seconds_on.get(k, 0.0) for k in self._all_stages()]
        return solve(replace(self.circuit, coil_temperature_c=np.array(warmed)), self._outputs_on(energised))

    def _outputs_on(self, energised: tuple[int, ...]) -> Bools:
        by_input = self.relay_box_type["outputs_by_input"]
        switched = {output for control in energised for output in by_input[control - 1]}
        return np.array([output in switched for output in self._all_stages()])

    def _all_stages(self) -> tuple[int, ...]:
        return tuple(range(1, self.circuit.stages + 1))

    def _volts(self, true_v: float) -> Decimal:
        return self.voltmeter.reading(true_v, self.generator)

    def _amps(self, true_a: float) -> Decimal:
        return self.ammeter.reading(true_a, self.generator, self.clamp_zero_a)


def on_engine(circuit: Circuit, engine_state: str, generator: np.random.Generator) -> Circuit:
    """Return the circuit fed by the battery alone or with the alternator behind it."""
    system_factor = float(circuit.emf_v) / 12.0
    emf_v = system_factor * generator.uniform(*EMF_V[engine_state])
    return replace(circuit, emf_v=emf_v, source_ohm=circuit.source_ohm * SOURCE_FACTOR[engine_state])


def ambient_temperature_c(on: dt.date, mean_c: float, swing_c: float) -> float:
    """Return a plain yearly course of the yard's temperature, warmest in July.  [°C]"""
    return mean_c + swing_c * cos(tau * (on.timetuple().tm_yday - WARMEST_DAY_OF_YEAR) / 365.25)


def true_coil_temperature_c(planned: PlannedVisit, ambient_c: float, generator: np.random.Generator) -> float:
    """Return how warm the coils are when the visit begins.  [°C]"""
    if planned.coil_temperature_true_c is not None:
        return planned.coil_temperature_true_c
    above_ambient_c = generator.uniform(8.0, 30.0) if planned.coil_temperature_method == "measured" else 0.0
    return ambient_c + above_ambient_c + generator.uniform(-1.0, 1.0)


def recorded_temperature(planned: PlannedVisit, true_c: float, generator: np.random.Generator) -> dict[str, Any]:
    """Return the temperature as the technician writes it down, in whole degrees, or that it is not known."""
    method = planned.coil_temperature_method
    if method == "unknown":
        return {
            "coil_temperature_method": method,
            "coil_temperature_c": None,
            "coil_temperature_bound_c": None,
        }
    bound_c = TEMPERATURE_BOUND_C[method]
    return {
        "coil_temperature_method": method,
        "coil_temperature_c": Decimal(round(true_c + generator.uniform(-0.5, 0.5) * bound_c)),
        "coil_temperature_bound_c": Decimal(bound_c),
    }


def _passes(stages: int, planned: PlannedVisit) -> list[tuple[int, tuple[int, ...]]]:
    single = [(stage, (stage,)) for stage in planned.stages or range(1, stages + 1)]
    cumulative = [(stage, tuple(range(1, stage + 1))) for stage in range(2, stages + 1)]
    return single + (cumulative if planned.cumulative else [])
