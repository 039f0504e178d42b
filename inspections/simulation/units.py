"""The true condition of a simulated unit: its own resistances, its faults as they stand on a day, and its meters.

Sizes that no source gives (contacts, joints, source, scatter between units) are assumed example values.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from zlib import crc32

import numpy as np

from calc import circuit_faults
from calc.cables import cable_resistance_ohm
from calc.circuit import Circuit, coils_for_rated_current

Row = Mapping[str, Any]

STAGE_SPREAD = 0.007
LARGEST_STAGE_SPREAD = 0.015
# Fuse, contact, harness and ground in line with the coils, as the rated current takes them. [Ω]
RATED_IN_LINE_OHM = {12: 0.00926, 24: 0.01797}
FUSE_OHM = {12: 0.0008, 24: 0.0012}

SIZED_FAULTS: dict[str, Callable[[Circuit, int, float], Circuit]] = {
    "contact_resistance": circuit_faults.with_contact_resistance,
    "stage_joint_resistance": circuit_faults.with_stage_joint_resistance,
    "retarder_ground": lambda circuit, _, added_ohm: circuit_faults.with_retarder_ground(circuit, added_ohm),
    "chassis_ground": lambda circuit, _, added_ohm: circuit_faults.with_chassis_ground(circuit, added_ohm),
    "supply_joint": lambda circuit, _, added_ohm: circuit_faults.with_supply_joint(circuit, added_ohm),
}
OTHER_FAULTS: dict[str, Callable[[Circuit, int], Circuit]] = {
    "blown_fuse": circuit_faults.with_blown_fuse,
    "contact_not_closing": circuit_faults.with_contact_not_closing,
    "welded_contact": circuit_faults.with_welded_contact,
    "open_stage_lead": circuit_faults.with_open_stage_lead,
    "open_coil": circuit_faults.with_open_coil,
    "shorted_coil": lambda circuit, stage: circuit_faults.with_shorted_turns(circuit, stage, 1.0),
}


def generator_for(seed: int, *names: str) -> np.random.Generator:
    """Return a random generator of its own for each thing named, so that adding one thing changes no other."""
    return np.random.default_rng([seed, *(crc32(name.encode()) for name in names)])


def healthy_circuit(
    installation: Row, *, retarder_type: Row, relay_box_type: Row, true_reference_voltage_v: float, seed: int
) -> Circuit:
    """Return a unit as it is when nothing is wrong with it: coils of its own, cables and joints of its vehicle."""
    volts = int(retarder_type["system_voltage_v"])
    stages = len(retarder_type["rated_currents_a"])
    of_unit = generator_for(seed, "retarder", installation["retarder"])
    of_fitting = generator_for(seed, "installation", installation["key"])
    spread = np.clip(of_unit.normal(0.0, STAGE_SPREAD, stages), -LARGEST_STAGE_SPREAD, LARGEST_STAGE_SPREAD)
    coil_ohm = coils_for_rated_current(
        np.asarray(retarder_type["rated_currents_a"]) * (1.0 + spread),
        true_reference_voltage_v,
        in_line_ohm=RATED_IN_LINE_OHM[volts],
        coils_in_series=retarder_type["coils_in_series"],
        coils_in_parallel=retarder_type["coils_in_parallel"],
        reference_temperature_c=retarder_type["reference_temperature_c"],
    )
    cable_ohm = {
        name: cable_resistance_ohm(cable["size"], cable["length_m"]) for name, cable in installation["cables"].items()
    }
    return Circuit(
        emf_v=float(volts),
        source_ohm=volts / 12 * of_fitting.uniform(0.0025, 0.0040),
        supply_cable_ohm=cable_ohm["supply"],
        supply_joint_ohm=of_fitting.uniform(0.0005, 0.0010),
        fuse_ohm=0.0 if relay_box_type["fuses"] == "none" else FUSE_OHM[volts],
        contact_ohm=of_fitting.uniform(0.0012, 0.0022, stages),
        harness_ohm=cable_ohm["stage"],
        stage_joint_ohm=of_fitting.uniform(0.0, 0.0006, stages),
        coil_ohm=coil_ohm,
        retarder_ground_ohm=cable_ohm["retarder_ground"] + of_fitting.uniform(0.0002, 0.0005),
        chassis_ground_ohm=cable_ohm["chassis_ground"] + of_fitting.uniform(0.0003, 0.0006),
    )


def circuit_on(circuit: Circuit, faults: Iterable[Row], day: int) -> Circuit:
    """Return the circuit with the faults that are present on a day, each of its size on that day."""
    for fault in faults:
        stage = fault["stage"] or 0
        if fault["cause"] in SIZED_FAULTS:
            days, mohm = zip(*fault["added_mohm"], strict=True)
            circuit = SIZED_FAULTS[fault["cause"]](circuit, stage, float(np.interp(day, days, mohm)) / 1000.0)
        elif fault["from_on"] <= day < fault["until_on"]:
            circuit = OTHER_FAULTS[fault["cause"]](circuit, stage)
    return circuit


@dataclass(frozen=True, slots=True)
class SimulatedMeter:
    """A meter with the error it truly has."""

    resolution: Decimal
    gain: float
    noise: float

    def reading(self, true_value: float, generator: np.random.Generator, zero: float = 0.0) -> Decimal:
        """Return what the display shows, to the meter's resolution."""
        shown = true_value * self.gain * (1.0 + generator.normal(0.0, self.noise)) + zero
        counts = round(shown / float(self.resolution))
        return (self.resolution * counts).quantize(self.resolution)


def meter_on(meter: Row, meter_faults: Iterable[Row], day: int, seed: int) -> SimulatedMeter:
    """Return a meter with its own gain, well inside its accuracy, and what has happened to it by a day."""
    own_percent = meter["accuracy_percent"] * generator_for(seed, "meter", meter["key"]).uniform(-0.4, 0.4)
    fault_percent = sum(
        fault["gain_percent"] for fault in meter_faults if fault["meter"] == meter["key"] and fault["from_on"] <= day
    )
    noise = 0.0025 if meter["kind"] == "ammeter" else 0.0005
    return SimulatedMeter(Decimal(str(meter["resolution"])), 1.0 + (own_percent + fault_percent) / 100.0, noise)
