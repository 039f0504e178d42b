"""Simulated cases for the bench of fault finding: what is truly wrong with a unit, and the unit it is wrong with.

Everything is drawn here and solved by nodal analysis; of the inference only the stated priors are used, and those by
the calibration row alone.  Sizes are assumed example values scaled with the stage loop.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Floats
from calc.cables import resistance_ohm_per_m
from calc.circuit import Circuit, coils_for_rated_current
from calc.evidence import Cable, Cables, Meter, Rating

LOOP_SHARES = {
    12: {
        "source": 8.75,
        "supply": 5.32,
        "fuse": 2.33,
        "contact": 4.37,
        "harness": 16.71,
        "ground": 3.59,
        "chassis": 3.55,
    },
    24: {
        "source": 6.25,
        "supply": 3.93,
        "fuse": 1.25,
        "contact": 2.08,
        "harness": 13.75,
        "ground": 1.64,
        "chassis": 2.13,
    },
}
PER_MILLE = 1e-3
PART_SPREAD = 0.30
LARGEST_PART_DEVIATION = 2.0
STAGE_SPREAD, UNIT_SPREAD = 0.007, 0.010
WIRINGS = ((2, 2), (4, 1), (1, 4), (4, 2), (2, 1))
RUNNING_V = {12: 14.0, 24: 28.0}
JOINT_SHARE = 0.2
CABLE_SIZES = {"supply": ("50 mm2", "70 mm2", "2/0 AWG"), "stage": ("6 mm2", "10 mm2", "6 AWG")}
GROUND_SIZES = ("25 mm2", "35 mm2", "50 mm2")
# Severities that the aims hold for; ohms are shares of the stage loop.
STAGE_OHM = (0.06, 1.5)
RETARDER_GROUND = (0.015, 0.20)
SUPPLY_OHM = (0.012, 0.15)
TURNS = (0.30, 0.90)
EMF_SHARE = (0.72, 0.90)


@dataclass(frozen=True, slots=True)
class Case:
    """A unit with what is wrong with it, and what the client states of it."""

    truth: tuple[tuple[str, int | None], ...]
    circuit: Circuit
    rating: Rating
    ammeter: Meter
    voltmeter: Meter
    cables: Cables
    stated_temperature_c: float
    temperature_bound_c: float
    clamp_gain: float
    lead_clamp_gain: float
    clamp_zero_a: float
    volt_gain: float
    none_close: bool = False
    exchanged_inputs: tuple[int, int] | None = None
    outputs_looked_at: bool = False
    missing_control: int | None = None
    frame_short: tuple[int, float] | None = None


Draw = Callable[[np.random.Generator, Case, int], Case]


def log_uniform(generator: np.random.Generator, low: float, high: float) -> float:
    """Return a draw that is even in its logarithm."""
    return float(np.exp(generator.uniform(np.log(low), np.log(high))))


def sound_case(generator: np.random.Generator, *, least_stages: int = 1) -> Case:
    """Return a unit with nothing wrong, with parts, cables, temperature and meters of its own."""
    volts = int(generator.choice([12, 24]))
    stages = int(generator.choice([4, 4, 4, 4, 2, 3, 5, 6]))
    series, strings = WIRINGS[generator.integers(len(WIRINGS))]
    rated_a = float(round(generator.uniform(22, 45) if volts == 12 else generator.uniform(14, 35)))
    circuit, cables = _circuit(generator, volts, max(stages, least_stages), rated_a, (series, strings))
    bound_c = float(generator.choice([3.0, 5.0, 5.0, 10.0]))
    true_c = float(generator.uniform(-5.0, 55.0))
    return Case(
        truth=(("healthy", None),),
        circuit=replace(circuit, coil_temperature_c=true_c),
        rating=Rating((rated_a,) * circuit.stages, float(volts), 20.0, 10.0, 10.0, float(volts), series, strings),
        ammeter=Meter(2.0, 5, 0.1),
        voltmeter=Meter(0.5, 2, 0.01),
        cables=cables,
        stated_temperature_c=round(true_c + generator.uniform(-0.9, 0.9) * bound_c),
        temperature_bound_c=bound_c,
        clamp_gain=(gain := 1.0 + generator.uniform(-0.015, 0.015)),
        lead_clamp_gain=gain,
        clamp_zero_a=float(generator.uniform(-0.2, 0.2)),
        volt_gain=1.0 + generator.uniform(-0.004, 0.004),
        outputs_looked_at=bool(generator.uniform() < 0.3),
    )


def _circuit(
    generator: np.random.Generator, volts: int, stages: int, rated_a: float, wiring: tuple[int, int]
) -> tuple[Circuit, Cables]:
    loop_ohm = volts / rated_a
    usual = {name: share * PER_MILLE * loop_ohm for name, share in LOOP_SHARES[volts].items()}

    def varied(name: str) -> float:
        return float(varied_stages(name, 1)[0])

    def varied_stages(name: str, count: int) -> Floats:
        deviation = np.clip(generator.normal(0, 1, count), -LARGEST_PART_DEVIATION, LARGEST_PART_DEVIATION)
        return usual[name] * np.exp(PART_SPREAD * deviation)

    level = 1.0 + generator.normal(0, UNIT_SPREAD) + generator.normal(0, STAGE_SPREAD, stages)
    coils = coils_for_rated_current(
        rated_a * level,
        float(volts),
        in_line_ohm=sum(usual[name] for name in ("fuse", "contact", "harness", "ground")),
        coils_in_series=wiring[0],
        coils_in_parallel=wiring[1],
    )
    supply, harness, ground, chassis = (varied(name) for name in ("supply", "harness", "ground", "chassis"))
    circuit = Circuit(
        emf_v=RUNNING_V[volts] * generator.uniform(0.975, 1.03),
        source_ohm=varied("source"),
        supply_cable_ohm=(1 - JOINT_SHARE) * supply,
        supply_joint_ohm=JOINT_SHARE * supply,
        fuse_ohm=varied_stages("fuse", stages),
        contact_ohm=varied_stages("contact", stages),
        harness_ohm=0.97 * harness,
        stage_joint_ohm=0.03 * harness * generator.uniform(0.5, 1.5, stages),
        coil_ohm=coils,
        retarder_ground_ohm=ground,
        chassis_ground_ohm=chassis,
        cable_temperature_c=generator.uniform(5.0, 40.0),
    )
    if generator.uniform() < 0.5:
        return circuit, Cables()
    return circuit, _cables_of(generator, circuit)


def _cables_of(generator: np.random.Generator, circuit: Circuit) -> Cables:
    """Return sizes and lengths that have the circuit's cable resistances, copper a little better than the table's."""

    def cable(ohm: float, sizes: tuple[str, ...]) -> Cable:
        size = str(generator.choice(sizes))
        return Cable(size, round(ohm / (0.95 * resistance_ohm_per_m(size)), 2))

    return Cables(
        supply=cable(float(circuit.supply_cable_ohm), CABLE_SIZES["supply"]),
        stage=cable(float(np.mean(circuit.harness_ohm)), CABLE_SIZES["stage"]),
        retarder_ground=cable(0.7 * float(circuit.retarder_ground_ohm), GROUND_SIZES),
        chassis_ground=cable(0.7 * float(circuit.chassis_ground_ohm), GROUND_SIZES),
    )


def loop_ohm(case: Case) -> float:
    """Return the loop of one stage at its rated current.  [Ω]"""
    return float(case.rating.reference_voltage_v or 0.0) / case.rating.rated_currents_a[0]


def with_circuit(case: Case, circuit: Circuit, cause: str, stage: int | None) -> Case:
    """Return a case with a changed circuit and one more thing wrong."""
    known = () if case.truth == (("healthy", None),) else case.truth
    return replace(case, circuit=circuit, truth=(*known, (cause, stage)))


def added(
    cause: str, fault: Callable[[Circuit, int, float], Circuit], shares: tuple[float, float], *, staged: bool
) -> Draw:
    """Return a draw of a cause that adds resistance."""

    def draw(generator: np.random.Generator, case: Case, stage: int) -> Case:
        ohm = log_uniform(generator, *shares) * loop_ohm(case)
        return with_circuit(case, fault(case.circuit, stage, ohm), cause, stage if staged else None)

    return draw


def plain(cause: str, fault: Callable[[Circuit, int], Circuit], *, staged: bool = True) -> Draw:
    """Return a draw of a cause that has no size."""

    def draw(generator: np.random.Generator, case: Case, stage: int) -> Case:
        return with_circuit(case, fault(case.circuit, stage), cause, stage if staged else None)

    return draw


def random_coil(generator: np.random.Generator, case: Case) -> int:
    """Return a coil of a stage, counted from 1."""
    return int(generator.integers(1, case.rating.coils_in_series * case.rating.coils_in_parallel + 1))
