"""A fleet with faults planted in it, and the checks that a workshop would have taken: pure code without a database.

Each unit is the healthy circuit of `units.py` with its fault added as resistance, solved for all its checks at once.
Shares and sizes are chosen so that every kind of fault occurs, not as any fleet has them.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.circuit import solve
from inspections.simulation.readings import EMF_V, ambient_temperature_c
from inspections.simulation.units import generator_for, healthy_circuit

STAGES, RATED_A, REFERENCE_V = 4, 35.0, 12.0
RETARDER_TYPE: dict[str, Any] = {
    "designation": "Simulated, 4 stages, 12 V",
    "rated_currents_a": [RATED_A] * STAGES,
    "reference_voltage_v": REFERENCE_V,
    "reference_temperature_c": 20.0,
    "system_voltage_v": 12,
    "coils_in_series": 2,
    "coils_in_parallel": 2,
}
CABLES = {
    "supply": {"size": "70 mm2", "length_m": 4},
    "stage": {"size": "16 mm2", "length_m": 5},
    "retarder_ground": {"size": "70 mm2", "length_m": 2},
    "chassis_ground": {"size": "70 mm2", "length_m": 3},
}
# Of a hundred units so many have each fault; the rest are healthy.
FAULTS = {"stage_decline": 3, "all_stages_decline": 2, "stage_step": 2, "poor_ground": 2}
UNITS_PER_METER, METERS_PER_DEPOT, FOREIGN_VISITS = 20, 5, 0.1
LOW_METER_PERCENT = -2.5
DAYS_BETWEEN_CHECKS = 91
GROSS_ERROR_SHARE = 0.005
AMBIENT_MEAN_C, AMBIENT_SWING_C, TEMPERATURE_BOUND_C = 10.0, 9.0, 3
_MILLI = 1000.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What is wrong with a unit: the fault, its stage where it has one, from when on, and how large it is."""

    serial_number: str
    fault: str
    stage: int | None
    begins_on: str | None
    loss_percent_per_year: float | None
    step_percent: float | None
    ground_mohm_per_year: float | None


@dataclass(frozen=True, slots=True)
class Check:
    """One check: of which unit, by which clamp, when, its readings as a document, and the stage mistyped, if one."""

    unit: int
    clamp: int
    performed_at: dt.datetime
    document: dict[str, Any]
    mistyped_stage: int | None


class PlantedFleet:
    """The truth and the checks of a fleet; equal arguments give equal ones."""

    def __init__(
        self, *, installations: int, inspections: int, seed: int, until: dt.date, calibration_on_file: bool = True
    ) -> None:
        """Plant the faults; `calibration_on_file` says whether the clamp that turns low came back from a calibration.

        Where none is on file the only clamp of a small fleet turns low as well.
        """
        self.seed, self.until, self.inspections = seed, until, inspections
        self.generator = generator_for(seed, "planted")
        self.clamps = -(-installations // UNITS_PER_METER)
        self.gain_percent = self.generator.normal(0.0, 0.3, self.clamps)
        self.calibration_on_file = calibration_on_file
        single = None if calibration_on_file else 0
        self.low_clamp = int(self.generator.integers(self.clamps)) if self.clamps > 1 else single
        self.truths = [self._planted(unit) for unit in range(installations)]

    def meters(self) -> list[dict[str, Any]]:
        """Return what is true of the clamps: one of them turns low halfway, with a calibration on file or without."""
        return [
            {
                "clamp": clamp,
                "gain_percent": float(gain),
                "turns_low_by_percent": self._turns_low(clamp),
                "turns_low_on": self.low_from_on.isoformat() if clamp == self.low_clamp else None,
                "calibration_on_file": clamp == self.low_clamp and self.calibration_on_file,
            }
            for clamp, gain in enumerate(self.gain_percent)
        ]

    @property
    def low_from_on(self) -> dt.date:
        """Return the day on which the low clamp turned low, and was calibrated if it was."""
        return self.until - dt.timedelta(days=self.inspections // 2 * DAYS_BETWEEN_CHECKS)

    def checks(self, unit: int) -> Iterator[Check]:
        """Return a unit's checks, oldest first."""
        generator = generator_for(self.seed, "unit", str(unit))
        days = self._days(generator)
        on = [self.until - dt.timedelta(days=int(day)) for day in days]
        true_c = np.array([ambient_temperature_c(each, AMBIENT_MEAN_C, AMBIENT_SWING_C) for each in on])
        true_c += generator.uniform(-1.0, 1.0, len(on))
        volts, amps = self._solved(unit, on, true_c, generator)
        for visit, performed_on in enumerate(on):
            clamp = self._clamp(unit, generator)
            wrong = int(generator.integers(STAGES)) + 1 if generator.random() < GROSS_ERROR_SHARE * STAGES else None
            shown_a = amps[visit] * (1 + self._clamp_percent(clamp, performed_on) / 100)
            shown_a = shown_a * (1 + generator.normal(0.0, 0.003, shown_a.shape))
            if wrong is not None:
                shown_a[wrong] *= 1 + generator.choice([-1, -1, 1]) * generator.uniform(0.08, 0.15)
            shown_v = volts[visit] * (1 + generator.normal(0.0, 0.0005, shown_a.shape))
            written_c = round(float(true_c[visit] + generator.uniform(-0.5, 0.5) * TEMPERATURE_BOUND_C))
            at = dt.datetime.combine(performed_on, dt.time(9, int(generator.integers(60))), dt.UTC)
            yield Check(unit, clamp, at, _document(shown_v, shown_a, written_c, first=visit == 0), wrong)

    def _planted(self, unit: int) -> Truth:
        chance, fault = float(self.generator.uniform(0, 100)), "none"
        for name, percent in FAULTS.items():
            if 0 <= chance < percent:
                fault = name
            chance -= percent
        days = int(self.generator.uniform(0.3, 0.7) * self.inspections * DAYS_BETWEEN_CHECKS)
        stage, size = int(self.generator.integers(STAGES)) + 1, float(self.generator.uniform(0.7, 1.3))
        return Truth(
            serial_number=f"SIM-{unit + 1:06d}",
            fault=fault,
            stage=stage if fault.startswith("stage_") else None,
            begins_on=None if fault == "none" else (self.until - dt.timedelta(days=days)).isoformat(),
            loss_percent_per_year=4.0 * size if fault.endswith("_decline") else None,
            step_percent=6.0 * size if fault == "stage_step" else None,
            ground_mohm_per_year=6.0 * size if fault == "poor_ground" else None,
        )

    def _days(self, generator: np.random.Generator) -> Ints:
        gaps = generator.integers(DAYS_BETWEEN_CHECKS - 20, DAYS_BETWEEN_CHECKS + 21, self.inspections)
        back: Ints = np.cumsum(gaps)[::-1] - gaps[0]
        return back

    def _solved(
        self, unit: int, on: list[dt.date], true_c: Floats, generator: np.random.Generator
    ) -> tuple[Floats, Floats]:
        """Return true volts and amps, shape (checks, steps)."""
        key = str(unit)
        circuit = healthy_circuit(
            {"key": key, "retarder": key, "cables": CABLES},
            retarder_type=RETARDER_TYPE,
            relay_box_type={"fuses": "per_stage"},
            true_reference_voltage_v=REFERENCE_V,
            seed=self.seed,
        )
        joint_ohm, ground_ohm = _added_ohm(self.truths[unit], on)
        emf_v = generator.uniform(*EMF_V["idle"], len(on))
        failing = replace(
            circuit,
            emf_v=emf_v[:, None],
            stage_joint_ohm=circuit.stage_joint_ohm + joint_ohm[:, None],
            retarder_ground_ohm=circuit.retarder_ground_ohm + ground_ohm[:, None],
            coil_temperature_c=np.repeat(true_c[:, None, None], STAGES, axis=2),
        )
        found = solve(failing, _steps_on())
        return np.asarray(found.supply_voltage_v), np.asarray(found.current_a)

    def _clamp(self, unit: int, generator: np.random.Generator) -> int:
        if generator.random() < FOREIGN_VISITS:
            return int(generator.integers(self.clamps))
        return unit // UNITS_PER_METER

    def _turns_low(self, clamp: int) -> float:
        return LOW_METER_PERCENT if clamp == self.low_clamp else 0.0

    def _clamp_percent(self, clamp: int, on: dt.date) -> float:
        return float(self.gain_percent[clamp]) + (self._turns_low(clamp) if on >= self.low_from_on else 0.0)


def truth_document(fleet: PlantedFleet) -> dict[str, Any]:
    """Return the truth of a fleet as a document: its units, its clamps and the yearly course of temperature."""
    return {
        "seed": fleet.seed,
        "until": fleet.until.isoformat(),
        "units": [asdict(truth) for truth in fleet.truths],
        "clamps": fleet.meters(),
        "temperature": {"mean_c": AMBIENT_MEAN_C, "swing_c": AMBIENT_SWING_C},
    }


def _added_ohm(truth: Truth, on: list[dt.date]) -> tuple[Floats, Floats]:
    """Return what the fault adds at each check: to the stages, shape (checks, stages), and to the ground."""
    joint, ground = np.zeros((len(on), STAGES)), np.zeros(len(on))
    if truth.begins_on is None:
        return joint, ground
    began = dt.date.fromisoformat(truth.begins_on)
    years = np.array([(each - began).days / 365.25 for each in on])
    lost_percent = (truth.loss_percent_per_year or 0.0) * np.maximum(years, 0.0) + (truth.step_percent or 0.0) * (
        years >= 0
    )
    stages = slice(None) if truth.stage is None else slice(truth.stage - 1, truth.stage)
    joint[:, stages] = (REFERENCE_V / RATED_A * lost_percent / 100)[:, None]
    ground[:] = (truth.ground_mohm_per_year or 0.0) * np.maximum(years, 0.0) / _MILLI
    return joint, ground


def _steps() -> list[tuple[int, tuple[int, ...]]]:
    single = [(stage, (stage,)) for stage in range(1, STAGES + 1)]
    return [*single, *((stage, tuple(range(1, stage + 1))) for stage in range(2, STAGES + 1))]


def _steps_on() -> Bools:
    """Return which outputs are on: all off first, then every step; shape (steps, stages)."""
    return np.array([[False] * STAGES, *([k in on for k in range(1, STAGES + 1)] for _stage, on in _steps())])


def _document(volts: Floats, amps: Floats, written_c: int, *, first: bool) -> dict[str, Any]:
    shown = [(_shown(v, "0.01"), _shown(a, "0.1")) for v, a in zip(volts.tolist(), amps.tolist(), strict=True)]
    return {
        "purpose": "first" if first else "routine",
        "engine_state": "idle",
        "coil_temperature_method": "parked",
        "coil_temperature_c": Decimal(written_c),
        "coil_temperature_bound_c": Decimal(TEMPERATURE_BOUND_C),
        "rest": {"supply_voltage_v": shown[0][0], "current_a": shown[0][1]},
        "stage_readings": [
            {"stage": stage, "energised": list(on), "supply_voltage_v": v, "current_a": a, "seconds_on": 6}
            for (stage, on), (v, a) in zip(_steps(), shown[1:], strict=True)
        ],
    }


def _shown(value: float, resolution: str) -> Decimal:
    step = Decimal(resolution)
    return (step * round(value / float(step))).quantize(step)
