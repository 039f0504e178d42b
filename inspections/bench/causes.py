"""How the bench draws each cause code: one draw a row."""

from dataclasses import replace

import numpy as np

from calc import circuit_faults as faults
from calc.circuit import Circuit
from inspections.bench import cases
from inspections.bench.cases import Case, Draw, added, log_uniform, loop_ohm, plain, random_coil, with_circuit


def _open_coil(generator: np.random.Generator, case: Case, stage: int) -> Case:
    return with_circuit(
        case, faults.with_open_coil(case.circuit, stage, random_coil(generator, case)), "open_coil", stage
    )


def _shorted_turns(generator: np.random.Generator, case: Case, stage: int) -> Case:
    fraction = float(generator.uniform(*cases.TURNS))
    circuit = faults.with_shorted_turns(case.circuit, stage, fraction, random_coil(generator, case))
    return with_circuit(case, circuit, "shorted_turns", stage)


def _shorted_coil(generator: np.random.Generator, case: Case, stage: int) -> Case:
    circuit = faults.with_shorted_turns(case.circuit, stage, 0.999, random_coil(generator, case))
    return with_circuit(case, circuit, "shorted_coil", stage)


def _coil_to_frame(generator: np.random.Generator, case: Case, stage: int) -> Case:
    short_ohm = log_uniform(generator, 0.003, 0.010)
    circuit = faults.with_coil_to_frame(case.circuit, stage, short_ohm, random_coil(generator, case))
    return replace(with_circuit(case, circuit, "coil_to_frame", stage), frame_short=(stage, short_ohm))


def _contact_not_closing(generator: np.random.Generator, case: Case, stage: int) -> Case:
    faulty = with_circuit(case, faults.with_contact_not_closing(case.circuit, stage), "contact_not_closing", stage)
    return replace(faulty, missing_control=stage if generator.uniform() < 0.5 else None)


def _other(generator: np.random.Generator, case: Case, stage: int) -> int:
    return int(generator.choice([other for other in range(1, case.rating.stages + 1) if other != stage]))


def _outputs_exchanged(generator: np.random.Generator, case: Case, stage: int) -> Case:
    pair = (stage, _other(generator, case, stage))
    faulty = with_circuit(case, case.circuit, "outputs_exchanged", stage)
    return replace(faulty, exchanged_inputs=pair, outputs_looked_at=True)


def _leads_doubled(generator: np.random.Generator, case: Case, stage: int) -> Case:
    circuit = faults.with_leads_doubled(case.circuit, stage, _other(generator, case, stage))
    return with_circuit(case, circuit, "leads_doubled", stage)


def _supply_cable(generator: np.random.Generator, case: Case, _: int) -> Case:
    ohm = float(case.circuit.supply_cable_ohm) + log_uniform(generator, *cases.SUPPLY_OHM) * loop_ohm(case)
    faulty = with_circuit(case, faults.with_supply_cable(case.circuit, ohm), "supply_cable", None)
    # A cable that is too thin or too long is not the one on file.
    return replace(faulty, cables=replace(faulty.cables, supply=None))


def _low_supply(generator: np.random.Generator, case: Case, _: int) -> Case:
    volts = cases.RUNNING_V[int(case.rating.system_voltage_v)] * generator.uniform(*cases.EMF_SHARE)
    source_ohm = case.circuit.source_ohm * log_uniform(generator, 1.0, 3.0)
    return with_circuit(case, faults.with_low_supply(case.circuit, volts, source_ohm), "low_supply", None)


def _hot_coils(generator: np.random.Generator, case: Case, _: int) -> Case:
    hot_c = case.stated_temperature_c + case.temperature_bound_c + generator.uniform(30.0, 120.0)
    return with_circuit(case, faults.with_hot_coils(case.circuit, hot_c), "hot_coils", None)


def _clamp_zero(generator: np.random.Generator, case: Case, _: int) -> Case:
    # Less than three times its counts is the clamp's own zero.
    smallest_a = 3 * case.ammeter.accuracy_counts * case.ammeter.resolution
    size_a = max(log_uniform(generator, 0.04, 0.15) * case.rating.rated_currents_a[0], smallest_a)
    offset_a = generator.choice([1, 1, -1]) * size_a
    return replace(with_circuit(case, case.circuit, "clamp_zero", None), clamp_zero_a=offset_a)


def _clamp_gain(generator: np.random.Generator, case: Case, _: int) -> Case:
    faulty = with_circuit(case, case.circuit, "clamp_gain", None)
    if generator.uniform() < 0.2:
        return replace(faulty, clamp_gain=0.5 * case.clamp_gain)
    gain = 1.0 + generator.choice([-1, -1, 1]) * generator.uniform(0.07, 0.15)
    own = generator.uniform() < 0.6
    return replace(faulty, clamp_gain=gain * case.clamp_gain, lead_clamp_gain=gain if own else case.lead_clamp_gain)


def _wrong_rating(generator: np.random.Generator, case: Case, _: int) -> Case:
    ratio = float(np.exp(generator.choice([-1, 1]) * generator.uniform(0.12, 0.5)))
    rated_a = tuple(round(amps * ratio, 1) for amps in case.rating.rated_currents_a)
    faulty = with_circuit(case, case.circuit, "wrong_rating", None)
    return replace(faulty, rating=replace(case.rating, rated_currents_a=rated_a))


def _main_supply_open(circuit: Circuit, _: int) -> Circuit:
    return faults.with_supply_joint(circuit, float("inf"))


def _control_ground_open(generator: np.random.Generator, case: Case, _: int) -> Case:
    return replace(with_circuit(case, case.circuit, "control_ground_open", None), none_close=True)


DRAWS: dict[str, Draw] = {
    "open_coil": _open_coil,
    "open_stage_lead": plain("open_stage_lead", faults.with_open_stage_lead),
    "shorted_turns": _shorted_turns,
    "shorted_coil": _shorted_coil,
    "coil_to_frame": _coil_to_frame,
    "blown_fuse": plain("blown_fuse", faults.with_blown_fuse),
    "contact_not_closing": _contact_not_closing,
    "contact_resistance": added("contact_resistance", faults.with_contact_resistance, cases.STAGE_OHM, staged=True),
    "stage_joint_resistance": added(
        "stage_joint_resistance", faults.with_stage_joint_resistance, cases.STAGE_OHM, staged=True
    ),
    "welded_contact": plain("welded_contact", faults.with_welded_contact),
    "outputs_exchanged": _outputs_exchanged,
    "leads_doubled": _leads_doubled,
    "retarder_ground": added(
        "retarder_ground", lambda c, _, ohm: faults.with_retarder_ground(c, ohm), cases.RETARDER_GROUND, staged=False
    ),
    "chassis_ground": added(
        "chassis_ground", lambda c, _, ohm: faults.with_chassis_ground(c, ohm), cases.SUPPLY_OHM, staged=False
    ),
    "supply_joint": added(
        "supply_joint", lambda c, _, ohm: faults.with_supply_joint(c, ohm), cases.SUPPLY_OHM, staged=False
    ),
    "supply_cable": _supply_cable,
    "low_supply": _low_supply,
    "hot_coils": _hot_coils,
    "clamp_zero": _clamp_zero,
    "clamp_gain": _clamp_gain,
    "wrong_rating": _wrong_rating,
    "main_supply_open": plain("main_supply_open", _main_supply_open, staged=False),
    "control_ground_open": _control_ground_open,
}
# A pair is two parts that have failed; what is wrong with the measurement comes alone.
IN_PAIRS = (
    "open_coil",
    "open_stage_lead",
    "blown_fuse",
    "contact_not_closing",
    "contact_resistance",
    "stage_joint_resistance",
    "retarder_ground",
    "chassis_ground",
    "supply_joint",
    "low_supply",
)


def drawn(generator: np.random.Generator, cause: str) -> Case:
    """Return a case of one cause, of a pair, or a sound one."""
    two_stages = cause in ("outputs_exchanged", "leads_doubled", "pair")
    case = cases.sound_case(generator, least_stages=2 if two_stages else 1)
    stages = [int(stage) for stage in generator.permutation(np.arange(1, case.rating.stages + 1))]
    if cause == "healthy":
        return case
    if cause == "pair":
        first, second = generator.choice(IN_PAIRS, size=2, replace=False)
        return DRAWS[second](generator, DRAWS[first](generator, case, stages[0]), stages[1])
    if cause == "shorted_coil":
        # A coil that is a whole string by itself leaves a dead short, which is read as such or blows the fuse.
        while case.rating.coils_in_series == 1:
            case = cases.sound_case(generator)
        stages = [1 + stages[0] % case.rating.stages]
    return DRAWS[cause](generator, case, stages[0])
