"""Readings, taken or still to be taken, in the one form in which they are predicted and compared."""

from dataclasses import dataclass

import numpy as np

from calc.evidence import Evidence, ExtraReading, Meter

REPEAT_SHARE = 0.003
LOG_OPEN_OHM = float(np.log(1e6))
LOG10_SOUND_INSULATION, LOG10_BAD_INSULATION = 7.0, -0.5
# A four-wire low-ohm meter: share of the reading and ohms.  Judgement, not data.
OHMMETER_SHARE, OHMMETER_OHM = 0.015, 0.003
SMALLEST_OHM = 1e-3
SMALLEST_U = 1e-6
ISOLATED_KINDS = frozenset({"coil_resistance", "insulation_resistance"})
CURRENT_KINDS = frozenset({"current", "stage_current", "quiescent_current"})
STAGE_KINDS = frozenset(
    {
        "output_voltage",
        "contact_drop",
        "stage_current",
        "control_voltage",
        "coil_resistance",
        "coil_drop",
        "insulation_resistance",
        "fuse_drop",
    }
)
Commanded = frozenset[int]


@dataclass(frozen=True, slots=True)
class Observation:
    """What is read, where, with which inputs commanded; stage and coil count from 0, −1 where there is none.

    `value` is in V or A; ohms of coils are natural logarithms, of insulation decimal ones.  `u_own` is what changes
    from reading to reading.
    """

    kind: str
    commanded: Commanded
    stage: int = -1
    coil: int = -1
    value: float = float("nan")
    u_own: float = 0.0


def observations_of(evidence: Evidence) -> list[Observation]:
    """Return every reading of a visit that the circuit can be held against."""
    found: list[Observation] = []
    if evidence.rest is not None:
        found += _volts_and_amps(evidence, frozenset(), evidence.rest.supply_voltage_v, evidence.rest.current_a)
    for reading in evidence.stage_readings:
        commanded = frozenset(stage - 1 for stage in reading.energised)
        found += _volts_and_amps(evidence, commanded, reading.supply_voltage_v, reading.current_a)
    extra = (extra_observation(evidence, reading) for reading in evidence.extra_readings)
    return found + [observation for observation in extra if observation is not None]


def extra_observation(evidence: Evidence, reading: ExtraReading) -> Observation | None:
    """Return one extra reading as it is compared, None where it names no stage that it would need."""
    if reading.kind in STAGE_KINDS and reading.stage is None:
        return None
    if reading.kind == "control_voltage" and evidence.relay_box.control_input in ("ground_switched", "data_bus"):
        return None
    value = _compared_value(reading)
    if value is None:
        return None
    commanded = commanded_for(evidence, reading.kind, reading.energised)
    stage = (reading.stage or 0) - 1 if reading.kind in STAGE_KINDS else -1
    u_own = own_uncertainty(evidence, reading.kind, value)
    return Observation(reading.kind, commanded, stage, _coil_of(evidence, reading), value, u_own)


def commanded_for(evidence: Evidence, kind: str, energised: tuple[int, ...] | None) -> Commanded:
    """Return the inputs commanded during an extra reading: all unless said otherwise, none where that cannot be."""
    if kind in ISOLATED_KINDS or kind == "quiescent_current":
        return frozenset()
    if energised is None:
        return frozenset(range(evidence.rating.stages))
    return frozenset(stage - 1 for stage in energised)


def own_uncertainty(evidence: Evidence, kind: str, value: float) -> float:
    """Return the standard uncertainty of a reading against its neighbours, in the unit in which it is compared."""
    if kind == "coil_resistance":
        if value >= LOG_OPEN_OHM:
            return 2.0
        return float(np.hypot(OHMMETER_SHARE, OHMMETER_OHM / np.exp(value)))
    if kind == "insulation_resistance":
        return 1.2
    if kind == "control_voltage":
        return 0.04 * evidence.rating.system_voltage_v
    meter = evidence.ammeter if kind in CURRENT_KINDS else evidence.voltmeter
    return _repeat_u(meter, value)


def expected_value(kind: str, compared: float) -> float | None:
    """Return a compared value in V, A or Ω; None for an open circuit on an ohm-meter."""
    if kind == "coil_resistance":
        return None if compared > LOG_OPEN_OHM - 3 else float(np.exp(compared))
    if kind == "insulation_resistance":
        return float(10.0**compared)
    # Less than a microvolt or a microampere is nothing.
    return compared if abs(compared) > 1e-6 else 0.0


def _coil_of(evidence: Evidence, reading: ExtraReading) -> int:
    """Return the coil read, counted from 0, −1 for a reading of no coil."""
    if reading.kind != "coil_drop":
        return -1
    coils = evidence.rating.coils_in_series * evidence.rating.coils_in_parallel
    return min(max(reading.coil or 1, 1), coils) - 1


def _compared_value(reading: ExtraReading) -> float | None:
    if reading.kind == "coil_resistance":
        return LOG_OPEN_OHM if reading.value is None else float(np.log(np.clip(reading.value, SMALLEST_OHM, 1e6)))
    if reading.kind == "insulation_resistance":
        return _compared_insulation(reading.value)
    return reading.value


def _compared_insulation(value_ohm: float | None) -> float:
    """Return log10 Ω, drawn to the nearer of sound and bad where it lies beyond them: more is no better."""
    if value_ohm is None:
        return LOG10_SOUND_INSULATION
    return float(np.clip(np.log10(max(value_ohm, 1e-6)), LOG10_BAD_INSULATION, LOG10_SOUND_INSULATION))


def _volts_and_amps(evidence: Evidence, commanded: Commanded, volts: float, amps: float) -> list[Observation]:
    read = (("volts", volts, evidence.voltmeter), ("current", amps, evidence.ammeter))
    return [
        Observation(kind, commanded, value=value, u_own=_repeat_u(meter, value))
        for kind, value, meter in read
        # Above its range a meter shows no value.
        if meter.range_max is None or value <= meter.range_max
    ]


def _repeat_u(meter: Meter, value: float) -> float:
    return max(float(np.hypot(REPEAT_SHARE * value, meter.resolution)), SMALLEST_U)
