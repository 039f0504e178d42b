"""The circuit in closed form, against nodal analysis and against a library's Laplacian on random networks."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import laplacian

from calc.arrays import Bools, Floats
from calc.circuit import Circuit, solve
from calc.diagnosis.forward import Topology, solve_states
from calc.diagnosis.slots import (
    CHASSIS_GROUND,
    EMF,
    FIRST_STAGE_SLOT,
    OPEN_OHM,
    RETARDER_GROUND,
    SOURCE,
    SUPPLY,
    TEMPERATURE,
    Slots,
)

SEEDS = range(60)


def random_unit(seed: int) -> tuple[Circuit, Bools]:
    """One to eight stages, any wiring, some parts open, leads exchanged or doubled, contacts welded."""
    draw = np.random.default_rng(seed)
    stages = int(draw.integers(1, 9))

    def ohm(*shape: int) -> Floats:
        return np.exp(draw.uniform(np.log(1e-4), np.log(5e-2), shape))

    def perhaps_open(values: Floats) -> Floats:
        return np.where(draw.uniform(size=values.shape) < 0.1, np.inf, values)

    coils = np.exp(
        draw.uniform(np.log(0.05), np.log(3.0), (stages, int(draw.integers(1, 5)), int(draw.integers(1, 5))))
    )
    source, supply, joint, ground, chassis = ohm(5)
    unit = Circuit(
        float(draw.uniform(10, 30)), source, supply, joint, perhaps_open(ohm(stages)), perhaps_open(ohm(stages)),
        ohm(stages), perhaps_open(ohm(stages)), perhaps_open(coils), ground, chassis,
        coil_temperature_c=float(draw.uniform(-20, 180)),
        welded=tuple(bool(w) for w in draw.uniform(size=stages) < 0.1),
        output_of_stage=tuple(int(o) for o in draw.integers(1, stages + 1, stages)),
    )  # fmt: skip
    return unit, draw.uniform(size=stages) < 0.6


def as_row(unit: Circuit) -> Floats:
    slots = Slots(unit.stages)
    row = np.zeros(slots.width)
    row[EMF], row[SOURCE], row[TEMPERATURE] = unit.emf_v, unit.source_ohm, unit.coil_temperature_c
    row[SUPPLY] = unit.supply_cable_ohm + unit.supply_joint_ohm
    row[RETARDER_GROUND], row[CHASSIS_GROUND] = unit.retarder_ground_ohm, unit.chassis_ground_ohm
    with np.errstate(divide="ignore"):
        group = 1.0 / (1.0 / unit.coil_ohm.sum(axis=-1)).sum(axis=-1)
    parts = (unit.fuse_ohm, unit.contact_ohm, unit.harness_ohm + unit.stage_joint_ohm, group)
    row[FIRST_STAGE_SLOT:] = np.minimum(np.concatenate([np.asarray(part) for part in parts]), OPEN_OHM)
    return row


def closed_form(unit: Circuit, outputs_on: Bools) -> tuple[float, float, Floats]:
    on = np.asarray(outputs_on, dtype=np.bool_) | np.asarray(unit.welded)
    hangs_on = np.zeros((unit.stages, unit.stages))
    for stage, output in enumerate(unit.output_of_stage or ()):
        hangs_on[output - 1, stage] = 1.0
    found = solve_states(as_row(unit)[None, None], Topology(on[None, None], hangs_on[None]))
    lead_a = found.lead_share[0, 0] * (found.output_a[0, 0, 0] @ hangs_on)
    return float(found.stud_v[0, 0, 0]), float(found.current_a[0, 0, 0]), lead_a


@pytest.mark.parametrize("seed", SEEDS)
def test_the_closed_form_agrees_with_nodal_analysis(seed: int) -> None:
    unit, outputs_on = random_unit(seed)
    found = solve(unit, outputs_on)
    box_v, current_a, lead_a = closed_form(unit, outputs_on)
    assert box_v == pytest.approx(float(found.supply_voltage_v), abs=1e-6)
    assert current_a == pytest.approx(float(found.current_a), abs=2e-6)
    assert lead_a == pytest.approx(found.stage_current_a, abs=1e-6)


def laplacian_solution(unit: Circuit, outputs_on: Bools) -> tuple[float, float]:
    """Box volts and total amps from a general library: a weighted graph's Laplacian, the source as one more edge."""
    on = np.asarray(outputs_on, dtype=np.bool_) | np.asarray(unit.welded)
    growth = (234.5 + float(np.asarray(unit.coil_temperature_c))) / 254.5
    edges = [
        ("minus", "plus", unit.source_ohm),
        ("plus", "stud", unit.supply_cable_ohm + unit.supply_joint_ohm),
        ("frame", "chassis", unit.retarder_ground_ohm),
        ("chassis", "minus", unit.chassis_ground_ohm),
    ]
    parts = [np.asarray(part) for part in (unit.fuse_ohm, unit.contact_ohm, unit.harness_ohm, unit.stage_joint_ohm)]
    fuse, contact, harness, joint = parts
    for stage, output in enumerate(unit.output_of_stage or ()):
        if on[stage]:
            edges.append(("stud", f"output {stage + 1}", float(fuse[stage] + contact[stage])))
        edges.append((f"output {output}", f"lead {stage}", float(harness[stage] + joint[stage])))
        strings = [(f"lead {stage}", "frame", float(string.sum() * growth)) for string in unit.coil_ohm[stage]]
        edges += strings
    names = [*sorted({name for start, end, _ in edges for name in (start, end)} - {"minus"}), "minus"]
    place = {name: index for index, name in enumerate(names)}
    starts, ends, ohms = zip(*edges, strict=True)
    rows, columns = [place[name] for name in starts], [place[name] for name in ends]
    weights = coo_array((1.0 / np.asarray(ohms), (rows, columns)), shape=(len(names),) * 2)
    matrix = np.asarray(laplacian((weights + weights.T).toarray()))[:-1, :-1] + 1e-9 * np.eye(len(names) - 1)
    injected = np.zeros(len(names) - 1)
    injected[place["plus"]] = unit.emf_v / unit.source_ohm
    volts = np.append(np.linalg.solve(matrix, injected), 0.0)
    current_a = (unit.emf_v - volts[place["plus"]]) / unit.source_ohm
    return float(volts[place["stud"]] - volts[place["chassis"]]), float(current_a)


@pytest.mark.parametrize("seed", SEEDS)
def test_both_solutions_agree_with_a_library_on_random_networks(seed: int) -> None:
    unit, outputs_on = random_unit(seed)
    box_v, current_a = laplacian_solution(unit, outputs_on)
    # The leak of 1e-9 S at each node passes through the source as well.
    assert float(solve(unit, outputs_on).supply_voltage_v) == pytest.approx(box_v, abs=1e-6)
    assert list(closed_form(unit, outputs_on)[:2]) == pytest.approx([box_v, current_a], abs=2e-6)


def test_a_stage_alone_draws_what_series_resistances_say() -> None:
    unit, _ = random_unit(3)
    coils = np.full((unit.stages, 2, 2), 0.3)
    plain = replace(unit, coil_ohm=coils, coil_temperature_c=20.0, welded=(False,) * unit.stages)
    ohm = np.full(unit.stages, 0.002)
    plain = replace(plain, fuse_ohm=ohm, contact_ohm=ohm, harness_ohm=ohm, stage_joint_ohm=0 * ohm)
    plain = replace(plain, output_of_stage=tuple(range(1, unit.stages + 1)))
    on = np.arange(unit.stages) == 0
    upstream = plain.source_ohm + plain.supply_cable_ohm + plain.supply_joint_ohm + plain.chassis_ground_ohm
    expected_a = plain.emf_v / (upstream + plain.retarder_ground_ohm + 0.006 + 0.3)
    assert closed_form(plain, on)[1] == pytest.approx(expected_a, rel=1e-7)
