"""The unit as it should be: the median of each part, and how far it may lie from it."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.cables import UnknownCableSize, cable_resistance_ohm
from calc.copper import resistance_growth
from calc.diagnosis import priors
from calc.evidence import Cable, Evidence, RelayBox
from calc.evidence_apart import LoadTime
from calc.temperature import coil_temperature
from calc.uncertainty import SQRT_3

LEAST_24_V_SYSTEM_V = 18.0
# Assumed example values for a part that is not known, as shares of the stage loop: a 12 V unit of 35 A a stage
# (342.857 mohm), a 24 V unit of 25 A a stage (960 mohm).
SHARES_12 = {
    "source": 3.0 / 342.857,
    "supply": 1.823 / 342.857,
    "fuse": 0.8 / 342.857,
    "contact": 1.5 / 342.857,
    "harness": 5.730 / 342.857,
    "retarder_ground": 1.231 / 342.857,
    "chassis_ground": 1.216 / 342.857,
}
SHARES_24 = {
    "source": 6.0 / 960.0,
    "supply": 3.770 / 960.0,
    "fuse": 1.2 / 960.0,
    "contact": 2.0 / 960.0,
    "harness": 13.200 / 960.0,
    "retarder_ground": 1.570 / 960.0,
    "chassis_ground": 2.044 / 960.0,
}
# Joints of a cable whose copper is known, as shares of the stage loop.
JOINT_SHARES = {"supply": 0.0018, "harness": 0.0006, "retarder_ground": 0.0010, "chassis_ground": 0.0011}
CABLE_FIELDS = {
    "supply": "supply",
    "harness": "stage",
    "retarder_ground": "retarder_ground",
    "chassis_ground": "chassis_ground",
}
# Regulator set point and rested battery of a 12 V system, and how far they lie about; 24 V doubles both.
RUNNING_EMF_V, RUNNING_SPREAD_V = 14.05, 0.33
RESTED_EMF_V, RESTED_SPREAD_V = 12.6, 0.22
SMALLEST_OHM = 1e-6
ASSUMED_AUXILIARY_BOUND, LARGEST_AUXILIARY_BOUND = 0.2, 1.0


@dataclass(frozen=True, slots=True)
class Part:
    """A resistance at 20 °C, its median and the standard deviation of its logarithm.  [Ω]"""

    ohm: float
    spread: float


@dataclass(frozen=True, slots=True)
class Unit:
    """Medians and spreads of one unit in its vehicle, and of the meters that read it."""

    stages: int
    series: int
    strings: int
    loop_ohm: Floats
    rated_a: Floats
    reference_voltage_v: float
    coil_ohm: Floats
    coil_spread: float
    emf_v: float
    emf_spread_v: float
    nominal_emf_v: float
    parts: dict[str, Part]
    supply_cable_known: bool
    common_fuse: bool
    fuse_fitted: bool
    auxiliary_always_s: float
    auxiliary_with_stages_s: float
    auxiliary_spread: float
    coil_temperature_c: float
    coil_temperature_spread_c: float
    clamp_gain_spread: float
    clamp_zero_spread_a: float
    volt_gain_spread: float
    volt_zero_spread_v: float


def unit_of(evidence: Evidence) -> Unit:
    """Return what is known of a unit before its readings: rating, cables, relay box, meters and temperature."""
    rating, box = evidence.rating, evidence.relay_box
    volts = rating.reference_voltage_v or rating.system_voltage_v
    rated_a = np.asarray(rating.rated_currents_a, dtype=np.float64)
    parts = _parts(evidence, volts / float(rated_a.mean()))
    in_line = sum(parts[name].ohm for name in ("fuse", "contact", "harness", "retarder_ground"))
    growth = resistance_growth(rating.reference_temperature_c)
    coil_ohm = np.maximum(volts / rated_a - in_line, 0.2 * volts / rated_a) / growth
    emf_v, emf_spread_v = _emf(evidence)
    temperature = coil_temperature(evidence)
    known = bool(rating.reference_voltage_v)
    return Unit(
        stages=rating.stages,
        series=rating.coils_in_series,
        strings=rating.coils_in_parallel,
        loop_ohm=volts / rated_a,
        rated_a=rated_a,
        reference_voltage_v=volts,
        coil_ohm=coil_ohm,
        coil_spread=priors.UNIT_COIL_SPREAD if known else priors.UNIT_COIL_SPREAD_WITHOUT_REFERENCE,
        emf_v=emf_v,
        emf_spread_v=emf_spread_v,
        nominal_emf_v=RUNNING_EMF_V * rating.system_voltage_v / 12.0,
        parts=parts,
        supply_cable_known=_cable_ohm(evidence, "supply") is not None,
        common_fuse=box.fuses == "common",
        fuse_fitted=box.fuses != "none",
        auxiliary_always_s=_auxiliary_a(box, "always") / (RUNNING_EMF_V * rating.system_voltage_v / 12.0),
        auxiliary_with_stages_s=_auxiliary_a(box, "stage_on") / (RUNNING_EMF_V * rating.system_voltage_v / 12.0),
        auxiliary_spread=_auxiliary_spread(box),
        coil_temperature_c=temperature.temperature_c,
        coil_temperature_spread_c=max(temperature.bound_c, 0.1) / SQRT_3,
        clamp_gain_spread=evidence.ammeter.accuracy_percent / 100 / SQRT_3,
        clamp_zero_spread_a=evidence.ammeter.accuracy_counts * evidence.ammeter.resolution / SQRT_3,
        volt_gain_spread=evidence.voltmeter.accuracy_percent / 100 / SQRT_3,
        volt_zero_spread_v=evidence.voltmeter.accuracy_counts * evidence.voltmeter.resolution / SQRT_3,
    )


def _emf(evidence: Evidence) -> tuple[float, float]:
    scale = evidence.rating.system_voltage_v / 12.0
    if evidence.engine_state == "off":
        return RESTED_EMF_V * scale, RESTED_SPREAD_V * scale
    return RUNNING_EMF_V * scale, RUNNING_SPREAD_V * scale


def _auxiliary_a(box: RelayBox, when: LoadTime) -> float:
    return sum(load.current_a for load in box.auxiliary_loads if load.when == when)


def _auxiliary_spread(box: RelayBox) -> float:
    """Return the largest relative standard uncertainty of the auxiliary loads; without a bound a fifth is assumed."""
    bounds = [
        ASSUMED_AUXILIARY_BOUND if load.bound_a is None else load.bound_a / load.current_a
        for load in box.auxiliary_loads
        if load.current_a > 0
    ]
    return min(max(bounds, default=0.0), LARGEST_AUXILIARY_BOUND) / SQRT_3


def _parts(evidence: Evidence, loop_ohm: float) -> dict[str, Part]:
    shares = SHARES_24 if evidence.rating.system_voltage_v >= LEAST_24_V_SYSTEM_V else SHARES_12
    parts = {name: Part(share * loop_ohm, priors.SPREAD_OF_LN_UNKNOWN) for name, share in shares.items()}
    for name in CABLE_FIELDS:
        cable_ohm = _cable_ohm(evidence, name)
        if cable_ohm is not None:
            parts[name] = _with_known_cable(cable_ohm, JOINT_SHARES[name] * loop_ohm)
    if evidence.relay_box.fuses == "none":
        parts["fuse"] = Part(SMALLEST_OHM, 0.0)
    return parts


def _with_known_cable(cable_ohm: float, joint_ohm: float) -> Part:
    copper_ohm = priors.KNOWN_CABLE_SHARE * cable_ohm
    total_ohm = copper_ohm + joint_ohm
    copper_u, joint_u = copper_ohm * priors.SPREAD_OF_LN_KNOWN_CABLE, joint_ohm * priors.SPREAD_OF_LN_UNKNOWN
    return Part(total_ohm, float(np.hypot(copper_u, joint_u)) / total_ohm)


def _cable_ohm(evidence: Evidence, name: str) -> float | None:
    """Return the copper of a cable, None where its size or length is not known or not one of the tables'."""
    cable: Cable | None = getattr(evidence.cables, CABLE_FIELDS[name])
    if cable is None or cable.size is None or cable.length_m is None:
        return None
    try:
        return cable_resistance_ohm(cable.size, cable.length_m)
    except UnknownCableSize:
        return None
