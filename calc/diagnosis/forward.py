"""The circuit in closed form, for many parameter rows and switching states at once.

Between stud and frame all stages lie in parallel, and everything else in series with them, so that no matrix is
needed: one division per stage replaces the nodal analysis of `calc.circuit`, with which the tests compare it.
"""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats
from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from calc.diagnosis.slots import (
    AUXILIARY_ALWAYS,
    AUXILIARY_WITH_STAGES,
    CHASSIS_GROUND,
    COMMON_FUSE,
    EMF,
    RETARDER_GROUND,
    SOURCE,
    SUPPLY,
    TEMPERATURE,
    Slots,
)

LEAK_S = 1e-9


@dataclass(frozen=True, slots=True)
class Topology:
    """Per candidate: outputs on in every state, shape (candidates, states, outputs), and the output of each lead.

    `hangs_on[candidate, output, stage]` is 1 where the lead of the stage hangs on the output.
    """

    outputs_on: Bools
    hangs_on: Floats


@dataclass(frozen=True, slots=True)
class Solved:
    """Voltages [V], currents [A] and resistances [Ω], shape (candidates, rows, states) and, for stages, one more."""

    stud_v: Floats
    current_a: Floats
    stages_v: Floats
    return_a: Floats
    output_a: Floats
    lead_share: Floats
    lead_ohm: Floats
    coil_ohm: Floats


def solve_states(rows: Floats, topology: Topology) -> Solved:
    """Return every state of every row.

    Parameters
    ----------
    rows : ndarray, shape (candidates, rows, Slots.width)
        Physical quantities.
    topology : Topology
        Which outputs are on, and what hangs on them.
    """
    stages = topology.outputs_on.shape[-1]
    growth = 1.0 + COPPER_TEMPERATURE_COEFFICIENT_PER_K * (rows[..., TEMPERATURE] - 20.0)
    coil_ohm = _block(rows, Slots(stages).coils(0), stages) * np.maximum(growth, 0.1)[..., None]
    lead_ohm = _block(rows, Slots(stages).lead(0), stages) + coil_ohm
    lead_s = 1.0 / lead_ohm
    load_s = np.einsum("bos,bvs->bvo", topology.hangs_on, lead_s)
    in_box_ohm = _block(rows, Slots(stages).fuse(0), stages) + _block(rows, Slots(stages).contact(0), stages)
    output_s = load_s / (1.0 + in_box_ohm * load_s)
    closed_s = output_s[:, :, None, :] * topology.outputs_on[:, None, :, :]
    stages_ohm = 1.0 / (closed_s.sum(axis=-1) + LEAK_S)
    shared_ohm = (rows[..., COMMON_FUSE] + rows[..., RETARDER_GROUND])[..., None]
    return_s = 1.0 / (stages_ohm + shared_ohm)
    any_on = np.asarray(topology.outputs_on.any(axis=-1))[:, None, :]
    total_s = return_s + rows[..., AUXILIARY_ALWAYS, None] + rows[..., AUXILIARY_WITH_STAGES, None] * any_on
    upstream_ohm = (rows[..., SOURCE] + rows[..., SUPPLY] + rows[..., CHASSIS_GROUND])[..., None]
    stud_v = rows[..., EMF, None] / (1.0 + upstream_ohm * total_s)
    return_a = stud_v * return_s
    stages_v = return_a * stages_ohm
    lead_share = np.einsum("bvs,bos,bvo->bvs", lead_s, topology.hangs_on, 1.0 / np.maximum(load_s, 1e-30))
    return Solved(
        stud_v,
        stud_v * total_s,
        stages_v,
        return_a,
        closed_s * stages_v[..., None],
        lead_share,
        lead_ohm,
        coil_ohm,
    )


def _block(rows: Floats, first: int, stages: int) -> Floats:
    return rows[..., first : first + stages]
