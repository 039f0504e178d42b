"""The forward circuit: battery, supply cable, relay box, stages and grounds, solved by nodal analysis.

    EMF ─ source ─ B+ ─ supply ─ STUD ─ fuse_k ─ contact_k ─ OUT_k ─ lead_k ─ coils_k ─ FRAME ─ ground ─ CHASSIS ─ B−

A stage's coils lie `series` in a string, strings in parallel.  Every array may carry leading batch axes (…): parameter
draws, steps of a pass, or both.  Where the retarder returns through an insulated lead, that is the retarder ground.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from calc.arrays import Bools, Floats, Quantity
from calc.circuit_solution import Solution
from calc.copper import resistance_ratio

# A leak at each node keeps the matrix regular where a part hangs free; its current stays below 1e-7 A at 28 V.
LEAK_S = 1e-9
# The smallest resistance told from none, so that a part of 0 Ω (no fuse, a shorted coil) has a finite conductance.
SMALLEST_RESISTANCE_OHM = 1e-6

BATTERY_POSITIVE, STUD, FRAME, CHASSIS = range(4)
FIRST_STAGE_NODE = 4


@dataclass(frozen=True, slots=True)
class Circuit:
    """The resistances of one unit in its vehicle, at 20 °C.  [Ω]

    Shapes: `coil_ohm` (…, stages, strings, series), the other stage values and `coil_temperature_c` (…, stages) or a
    plain number, all the rest (…).  An open part has infinite resistance.  `output_of_stage[k]` is the stage output,
    counted from 1, that the lead of stage k + 1 hangs on.
    """

    emf_v: Quantity
    source_ohm: Quantity
    supply_cable_ohm: Quantity
    supply_joint_ohm: Quantity
    fuse_ohm: Quantity
    contact_ohm: Quantity
    harness_ohm: Quantity
    stage_joint_ohm: Quantity
    coil_ohm: Floats
    retarder_ground_ohm: Quantity
    chassis_ground_ohm: Quantity
    coil_temperature_c: Quantity = 20.0
    cable_temperature_c: Quantity = 20.0
    welded: tuple[bool, ...] | None = None
    output_of_stage: tuple[int, ...] | None = None

    @property
    def stages(self) -> int:
        """Return the number of stages."""
        return int(self.coil_ohm.shape[-3])


def solve(circuit: Circuit, outputs_on: npt.ArrayLike) -> Solution:
    """Return the voltages and currents with a set of stage outputs switched on.

    Parameters
    ----------
    circuit : Circuit
        The resistances.  [Ω]
    outputs_on : array_like of bool, shape (…, stages)
        Which outputs the box switches; a welded contact is closed besides.

    Returns
    -------
    Solution
        With the batch shape that the circuit and `outputs_on` broadcast to.

    References
    ----------
    C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis", IEEE Transactions on
    Circuits and Systems 22 (1975) 504-509; here in its plain form, A·diag(g)·Aᵀ, the source as its Norton equivalent.

    Examples
    --------
    >>> coils = coils_for_rated_current([35.0] * 4, 12.0, in_line_ohm=0.00926, coils_in_series=2, coils_in_parallel=2)
    >>> unit = Circuit(14.0, 0.003, 0.00102, 0.0008, 0.0008, 0.0015, 0.00573, 0.0, coils, 0.00123, 0.00122)
    >>> found = solve(unit, [True, False, False, False])
    >>> round(float(found.supply_voltage_v), 2), round(float(found.current_a), 1)
    (13.76, 40.1)
    """
    conductance_s, string_s = _branch_conductances(circuit, np.asarray(outputs_on, dtype=np.bool_))
    incidence = _incidence(circuit.stages, circuit.output_of_stage)
    matrix = (incidence * conductance_s[..., None, :]) @ incidence.T + LEAK_S * np.eye(len(incidence))
    norton_current_a = np.asarray(circuit.emf_v * conductance_s[..., 0])
    source_current_a = np.zeros((*norton_current_a.shape, len(incidence), 1))
    source_current_a[..., BATTERY_POSITIVE, 0] = norton_current_a
    node_v: Floats = np.asarray(np.linalg.solve(matrix, source_current_a)[..., 0], dtype=np.float64)
    branch_current_a = conductance_s * (node_v @ incidence)
    fuse_output_v, output_v, lead_end_v = np.split(node_v[..., FIRST_STAGE_NODE:], 3, axis=-1)
    return Solution(
        node_v[..., BATTERY_POSITIVE],
        node_v[..., STUD],
        node_v[..., FRAME],
        node_v[..., CHASSIS],
        fuse_output_v,
        output_v,
        lead_end_v,
        current_a=branch_current_a[..., 1],
        stage_current_a=branch_current_a[..., 4 + 3 * circuit.stages :],
        string_current_a=string_s * (lead_end_v - node_v[..., FRAME, None])[..., None],
    )


def passes(stages: int) -> tuple[Bools, Bools]:
    """Return the outputs on in a single pass (each stage alone) and in a cumulative pass (none, 1, 1 and 2, …).

    Examples
    --------
    >>> [row.tolist() for row in passes(2)]
    [[[True, False], [False, True]], [[False, False], [True, False], [True, True]]]
    """
    return np.eye(stages, dtype=np.bool_), np.tri(stages + 1, stages, -1, dtype=np.bool_)


def coils_for_rated_current(
    rated_currents_a: npt.ArrayLike,
    reference_voltage_v: Quantity,
    *,
    in_line_ohm: Quantity,
    coils_in_series: int,
    coils_in_parallel: int,
    reference_temperature_c: float = 20.0,
) -> Floats:
    """Return the coil resistances with which each stage alone draws its rated current at the reference voltage.

    Parameters
    ----------
    rated_currents_a : array_like, shape (…, stages)
        Rated current of each stage. [A]
    reference_voltage_v : float or ndarray
        Stud-to-chassis voltage that the rating holds at. [V]
    in_line_ohm : float or ndarray
        Fuse, contact, harness, joints and retarder ground in line with the coils. [Ω]
    coils_in_series, coils_in_parallel : int
        Coils in a string, and strings of a stage.
    reference_temperature_c : float
        Coil temperature that the rating holds at. [°C]

    Returns
    -------
    ndarray, shape (…, stages, coils_in_parallel, coils_in_series)
        Resistance of each coil at 20 °C. [Ω]

    Examples
    --------
    >>> float(coils_for_rated_current([25.0], 24.0, in_line_ohm=0.018, coils_in_series=4, coils_in_parallel=1)[0, 0, 0])
    0.2355
    """
    group_ohm = reference_voltage_v / np.asarray(rated_currents_a, dtype=np.float64) - in_line_ohm
    if not (group_ohm > 0).all():
        raise ValueError("the parts in line leave no resistance for the coils at this rated current")
    coil_ohm = group_ohm / resistance_ratio(reference_temperature_c) * coils_in_parallel / coils_in_series
    shape = (*coil_ohm.shape, coils_in_parallel, coils_in_series)
    return np.broadcast_to(coil_ohm[..., None, None], shape).copy()


def _branch_conductances(circuit: Circuit, outputs_on: Bools) -> tuple[Floats, Floats]:
    """Return the conductance of every branch in the order of `_incidence`, and of every string.  [S]"""
    cable = resistance_ratio(np.asarray(circuit.cable_temperature_c, dtype=np.float64))
    stage_cable = cable[..., None]
    coil = resistance_ratio(np.asarray(circuit.coil_temperature_c, dtype=np.float64))
    string_s = _conductance("coil_ohm", circuit.coil_ohm.sum(axis=-1)) / (coil[..., None] if coil.ndim else coil)
    closed = outputs_on if circuit.welded is None else outputs_on | np.asarray(circuit.welded)
    single = [
        _conductance("source_ohm", circuit.source_ohm),
        _conductance("supply_ohm", circuit.supply_cable_ohm * cable + circuit.supply_joint_ohm),
        _conductance("retarder_ground_ohm", circuit.retarder_ground_ohm * cable),
        _conductance("chassis_ground_ohm", circuit.chassis_ground_ohm * cable),
    ]
    staged = [
        _conductance("fuse_ohm", circuit.fuse_ohm),
        np.where(closed, _conductance("contact_ohm", circuit.contact_ohm), 0.0),
        _conductance("lead_ohm", circuit.harness_ohm * stage_cable + circuit.stage_joint_ohm),
        string_s.sum(axis=-1),
    ]
    batch = np.broadcast_shapes(*(each.shape for each in single), *(each.shape[:-1] for each in staged))
    columns = [np.broadcast_to(each[..., None], (*batch, 1)) for each in single]
    columns += [np.broadcast_to(each, (*batch, circuit.stages)) for each in staged]
    return np.concatenate(columns, axis=-1), string_s


def _conductance(part: str, resistance_ohm: Quantity) -> Floats:
    resistance = np.asarray(resistance_ohm, dtype=np.float64)
    if not (resistance >= 0).all():
        raise ValueError(f"{part} must be 0 Ω or more, infinite where open")
    return np.asarray(1.0 / np.maximum(resistance, SMALLEST_RESISTANCE_OHM))


@cache
def _incidence(stages: int, output_of_stage: tuple[int, ...] | None) -> Floats:
    """Return the node-branch incidence: +1 where a branch leaves a node, −1 where it enters; B− is left out."""
    fuse_output, output, lead_end = np.split(np.arange(FIRST_STAGE_NODE, FIRST_STAGE_NODE + 3 * stages), 3)
    fed_by = output if output_of_stage is None else output[np.asarray(output_of_stage) - 1]
    ends: list[tuple[int, int | None]] = [
        (BATTERY_POSITIVE, None),
        (BATTERY_POSITIVE, STUD),
        (FRAME, CHASSIS),
        (CHASSIS, None),
    ]
    ends += [(STUD, int(node)) for node in fuse_output]
    ends += list(zip(fuse_output.tolist(), output.tolist(), strict=True))
    ends += list(zip(fed_by.tolist(), lead_end.tolist(), strict=True))
    ends += [(int(node), FRAME) for node in lead_end]
    incidence = np.zeros((FIRST_STAGE_NODE + 3 * stages, len(ends)))
    for branch, (leaves, enters) in enumerate(ends):
        incidence[leaves, branch] = 1.0
        if enters is not None:
            incidence[enters, branch] = -1.0
    return incidence
