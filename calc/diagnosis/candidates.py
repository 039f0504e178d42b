"""Candidates: one way each in which one cause, or two together, may show."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats
from calc.diagnosis import priors
from calc.diagnosis.effects import SEVERITIES, CoilFault, Effect, Switching
from calc.diagnosis.forward import Topology
from calc.diagnosis.observations import Commanded
from calc.diagnosis.stage_causes import stage_causes
from calc.diagnosis.unit import Unit
from calc.diagnosis.unit_causes import pair_causes, unit_causes
from calc.evidence import Evidence


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause code and the stages it concerns, counted from 1; none for the whole unit."""

    code: str
    stages: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Candidate:
    """Effects that hold together under a set of causes, and ln of the prior probability of just these."""

    causes: tuple[Cause, ...]
    effects: tuple[Effect, ...]
    log_prior: float

    def coil_faults(self) -> Iterator[tuple[int, CoilFault]]:
        """Return the coil faults, each with the column of its severity."""
        for index, effect in enumerate(self.effects):
            if effect.coil is not None:
                yield SEVERITIES * index, effect.coil

    def frame_contacts(self) -> set[int]:
        """Return the stages whose coils touch the frame."""
        return {effect.frame_contact for effect in self.effects if effect.frame_contact is not None}

    def missing_controls(self) -> set[int]:
        """Return the stages whose control signal does not arrive."""
        return {e.switching.missing_control for e in self.effects if e.switching.missing_control is not None}

    def dark_lamps(self) -> set[int]:
        """Return the lamps that may stay dark, or light in each other's place."""
        return {lamp for effect in self.effects for lamp in effect.switching.dark_lamps}


def single_candidates(
    unit: Unit, stages: Sequence[int], confirmed_counts: dict[str, int], *, insulated: bool
) -> list[Candidate]:
    """Return the sound unit and every single cause that it can have; stages count from 0."""
    effects: dict[Cause, list[Effect]] = {Cause(code): found for code, found in unit_causes(unit).items()}
    for stage in stages:
        effects |= {Cause(code, (stage + 1,)): found for code, found in stage_causes(unit, stage).items()}
    for place, first in enumerate(stages):
        for second in stages[place + 1 :]:
            both = pair_causes(unit, first, second).items()
            effects |= {Cause(code, (first + 1, second + 1)): found for code, found in both}
    if insulated:
        effects = {cause: found for cause, found in effects.items() if cause.code != "coil_to_frame"}
    return [sound_candidate(unit), *_weighted(unit, effects, confirmed_counts)]


def cable_is_too_thin(unit: Unit) -> bool:
    """Return whether the supply cable on file is itself the cause of a sag."""
    loop_ohm = float(unit.loop_ohm.mean())
    allowed_ohm = (priors.USUAL_SUPPLY_SHARE + priors.SUPPLY_OHM_RANGE[0]) * loop_ohm
    return unit.supply_cable_known and unit.parts["supply"].ohm > allowed_ohm


def sound_candidate(unit: Unit) -> Candidate:
    """Return the unit with nothing wrong, or with nothing wrong but the cable that it is known to have."""
    code = "supply_cable" if cable_is_too_thin(unit) else "healthy"
    return Candidate((Cause(code),), (Effect(1.0),), float(np.log(priors.HEALTHY_PRIOR)))


def _weighted(unit: Unit, effects: dict[Cause, list[Effect]], counts: dict[str, int]) -> Iterator[Candidate]:
    places: dict[str, int] = {}
    for cause in effects:
        places[cause.code] = places.get(cause.code, 0) + 1
    probabilities = priors.cause_probabilities(places, counts)
    for cause, found in effects.items():
        if cause.code == "supply_cable" and cable_is_too_thin(unit):
            continue
        for effect in found:
            share = probabilities[cause.code] / places[cause.code] * effect.share
            yield Candidate((cause,), (effect,), float(np.log(share)))


def joined(first: Candidate, second: Candidate) -> Candidate:
    """Return two candidates holding at once."""
    faulty = 1.0 - priors.HEALTHY_PRIOR
    log_prior = first.log_prior + second.log_prior - np.log(faulty) + np.log(priors.SECOND_FAULT_SHARE)
    return Candidate(first.causes + second.causes, first.effects + second.effects, float(log_prior))


def with_each_coil(candidate: Candidate, unit: Unit, stages: set[int]) -> list[Candidate]:
    """Return a candidate once for each coil that may be the faulty one, where that coil is still open."""
    for index, effect in enumerate(candidate.effects):
        if effect.coil is None or effect.coil.stage not in stages:
            continue
        coils = _coils_in_question(effect.coil, unit)
        log_prior = candidate.log_prior - float(np.log(len(coils)))
        placed = [replace(effect, coil=replace(effect.coil, coil=coil)) for coil in coils]
        before, after = candidate.effects[:index], candidate.effects[index + 1 :]
        return [replace(candidate, effects=(*before, each, *after), log_prior=log_prior) for each in placed]
    return [candidate]


def _coils_in_question(fault: CoilFault, unit: Unit) -> list[int]:
    every = range(unit.series * unit.strings)
    if fault.kind != "frame":
        return list(every)
    return [coil for coil in every if coil % unit.series == fault.coil % unit.series]


def starting_means(candidates: Sequence[Candidate], columns: int) -> tuple[Floats, Floats]:
    """Return mean and spread of every severity, shape (candidates, columns)."""
    mean, spread = np.zeros((2, len(candidates), columns))
    for row, candidate in enumerate(candidates):
        for index, effect in enumerate(candidate.effects):
            place = slice(SEVERITIES * index, SEVERITIES * (index + 1))
            mean[row, place], spread[row, place] = effect.mean, effect.spread
    return mean, spread


def apply_effects(candidates: Sequence[Candidate], rows: Floats, severity: Floats) -> None:
    """Change sound rows, shape (candidates, rows, …), into those of each candidate, in place."""
    for row, candidate in enumerate(candidates):
        for index, effect in enumerate(candidate.effects):
            if effect.change is not None:
                effect.change(rows[row], severity[row, :, SEVERITIES * index :])


def topology_of(evidence: Evidence, candidates: Sequence[Candidate], states: Sequence[Commanded]) -> Topology:
    """Return what is switched on in every state, and what hangs on each output, under every candidate."""
    stages = evidence.rating.stages
    normal = np.stack([_outputs_for(evidence, state) for state in states])
    outputs_on = np.repeat(normal[None], len(candidates), axis=0)
    hangs_on = np.repeat(np.eye(stages)[None], len(candidates), axis=0)
    for row, candidate in enumerate(candidates):
        for effect in candidate.effects:
            _switch(effect.switching, evidence, states, outputs_on[row], hangs_on[row])
    return Topology(outputs_on, hangs_on)


def _switch(
    switching: Switching, evidence: Evidence, states: Sequence[Commanded], outputs_on: Bools, hangs_on: Floats
) -> None:
    if switching.exchanged_inputs is not None:
        there = dict(zip(switching.exchanged_inputs, reversed(switching.exchanged_inputs), strict=True))
        for row, state in enumerate(states):
            outputs_on[row] = _outputs_for(evidence, frozenset(there.get(stage, stage) for stage in state))
    if switching.none_close:
        outputs_on[:] = False
    if switching.welded is not None:
        outputs_on[:, switching.welded] = True
    if switching.exchanged_leads is not None:
        first, second = switching.exchanged_leads
        hangs_on[[first, second]] = hangs_on[[second, first]]
    if switching.moved_lead is not None:
        moved, onto = switching.moved_lead
        hangs_on[:, moved] = 0.0
        hangs_on[onto, moved] = 1.0


def _outputs_for(evidence: Evidence, state: Commanded) -> Bools:
    """Return which outputs a sound box switches on."""
    on = np.zeros(evidence.rating.stages, dtype=np.bool_)
    by_input = evidence.relay_box.outputs_by_input
    for stage in state:
        outputs = (stage + 1,) if by_input is None else by_input[stage]
        on[[output - 1 for output in outputs]] = True
    return on
