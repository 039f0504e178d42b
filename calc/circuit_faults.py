"""Faults of the forward circuit: each returns the circuit with the parameters that the fault changes.

Stages, outputs and coils count from 1; coils from the stage lead, string by string.  Added resistances are in Ω.
"""

from dataclasses import replace

import numpy as np

from calc.arrays import Floats, Quantity
from calc.circuit import Circuit


def with_open_coil(circuit: Circuit, stage: int, coil: int = 1) -> Circuit:
    """Break one coil, and with it its string."""
    return _with_coil(circuit, stage, coil, factor=np.inf)


def with_shorted_turns(circuit: Circuit, stage: int, shorted_fraction: float, coil: int = 1) -> Circuit:
    """Short a fraction of one coil's turns; 1 shorts the whole coil."""
    return _with_coil(circuit, stage, coil, factor=1.0 - shorted_fraction)


def with_coil_to_frame(circuit: Circuit, stage: int, short_ohm: float, coil: int = 1) -> Circuit:
    """Short the lead side of one coil to the frame; the coils of its string from there on are bypassed."""
    string, place = _place(circuit, coil)
    coil_ohm = circuit.coil_ohm.copy()
    bypassed_ohm = coil_ohm[..., stage - 1, string, place:].sum(axis=-1)
    coil_ohm[..., stage - 1, string, place:] = 0.0
    coil_ohm[..., stage - 1, string, place] = bypassed_ohm * short_ohm / (bypassed_ohm + short_ohm)
    return replace(circuit, coil_ohm=coil_ohm)


def with_open_stage_lead(circuit: Circuit, stage: int) -> Circuit:
    """Break the lead between a stage output and its coils."""
    return with_stage_joint_resistance(circuit, stage, np.inf)


def with_stage_joint_resistance(circuit: Circuit, stage: int, added_ohm: float) -> Circuit:
    """Add resistance between a stage output and its coils."""
    return replace(circuit, stage_joint_ohm=_plus_at(circuit, circuit.stage_joint_ohm, stage, added_ohm))


def with_blown_fuse(circuit: Circuit, stage: int) -> Circuit:
    """Blow a stage fuse."""
    return replace(circuit, fuse_ohm=_plus_at(circuit, circuit.fuse_ohm, stage, np.inf))


def with_contact_resistance(circuit: Circuit, stage: int, added_ohm: float) -> Circuit:
    """Add resistance to a contact that closes."""
    return replace(circuit, contact_ohm=_plus_at(circuit, circuit.contact_ohm, stage, added_ohm))


def with_contact_not_closing(circuit: Circuit, stage: int) -> Circuit:
    """Leave a contact open whatever is commanded."""
    return with_contact_resistance(circuit, stage, np.inf)


def with_welded_contact(circuit: Circuit, stage: int) -> Circuit:
    """Keep a contact closed whatever is commanded."""
    welded = list(circuit.welded or [False] * circuit.stages)
    welded[stage - 1] = True
    return replace(circuit, welded=tuple(welded))


def with_outputs_exchanged(circuit: Circuit, stage: int, other_stage: int) -> Circuit:
    """Exchange the leads of two stages at the relay box."""
    outputs = list(circuit.output_of_stage or range(1, circuit.stages + 1))
    outputs[stage - 1], outputs[other_stage - 1] = outputs[other_stage - 1], outputs[stage - 1]
    return replace(circuit, output_of_stage=tuple(outputs))


def with_leads_doubled(circuit: Circuit, stage: int, other_stage: int) -> Circuit:
    """Move the lead of a stage onto the output of another, which then feeds both."""
    outputs = list(circuit.output_of_stage or range(1, circuit.stages + 1))
    outputs[stage - 1] = outputs[other_stage - 1]
    return replace(circuit, output_of_stage=tuple(outputs))


def with_retarder_ground(circuit: Circuit, added_ohm: Quantity) -> Circuit:
    """Add resistance between the retarder frame and the chassis."""
    return replace(circuit, retarder_ground_ohm=circuit.retarder_ground_ohm + added_ohm)


def with_chassis_ground(circuit: Circuit, added_ohm: Quantity) -> Circuit:
    """Add resistance between the chassis and the battery's negative post."""
    return replace(circuit, chassis_ground_ohm=circuit.chassis_ground_ohm + added_ohm)


def with_supply_cable(circuit: Circuit, cable_ohm: Quantity) -> Circuit:
    """Fit another supply cable, for example one that is too thin or too long."""
    return replace(circuit, supply_cable_ohm=cable_ohm)


def with_supply_joint(circuit: Circuit, added_ohm: Quantity) -> Circuit:
    """Add resistance to the joints of the supply cable; infinite opens the main supply."""
    return replace(circuit, supply_joint_ohm=circuit.supply_joint_ohm + added_ohm)


def with_low_supply(circuit: Circuit, emf_v: Quantity, source_ohm: Quantity) -> Circuit:
    """Feed the unit from a weaker source."""
    return replace(circuit, emf_v=emf_v, source_ohm=source_ohm)


def with_hot_coils(circuit: Circuit, coil_temperature_c: Quantity) -> Circuit:
    """Heat the coils, the cables staying as they are."""
    return replace(circuit, coil_temperature_c=coil_temperature_c)


def _plus_at(circuit: Circuit, resistance_ohm: Quantity, stage: int, added_ohm: float) -> Floats:
    if not 1 <= stage <= circuit.stages:
        raise ValueError(f"stage {stage} is outside 1 to {circuit.stages}")
    added = np.zeros(circuit.stages)
    added[stage - 1] = added_ohm
    return resistance_ohm + added


def _with_coil(circuit: Circuit, stage: int, coil: int, *, factor: float) -> Circuit:
    string, place = _place(circuit, coil)
    coil_ohm = circuit.coil_ohm.copy()
    coil_ohm[..., stage - 1, string, place] *= factor
    return replace(circuit, coil_ohm=coil_ohm)


def _place(circuit: Circuit, coil: int) -> tuple[int, int]:
    strings, series = (int(each) for each in circuit.coil_ohm.shape[-2:])
    if not 1 <= coil <= strings * series:
        raise ValueError(f"coil {coil} is outside 1 to {strings * series}")
    return divmod(coil - 1, series)
