"""The causes of one stage, each as the effects by which it shows.  Stages count from 0."""

from dataclasses import replace

import numpy as np

from calc.arrays import Floats
from calc.diagnosis import priors
from calc.diagnosis.effects import CoilFault, Effect, Switching, adding_ohm, opening, scaling, spread_over
from calc.diagnosis.slots import OPEN_OHM, Slots
from calc.diagnosis.unit import Unit

DEAD_SHORT_OHM = 0.005
# Shorted fractions of one coil's turns: mean and spread of each piece of their range.
TURNS = ((0.2, 0.06), (0.35, 0.08), (0.52, 0.09), (0.7, 0.09), (0.86, 0.07))


def stage_causes(unit: Unit, stage: int) -> dict[str, list[Effect]]:
    """Return the effects of every cause that this stage can have."""
    slots = Slots(unit.stages)
    low, high = (float(np.log(share * unit.loop_ohm[stage])) for share in priors.STAGE_OHM_RANGE)
    causes = {
        "open_coil": [_open_coil(unit, stage)],
        "open_stage_lead": [opening(slots.lead(stage))],
        "shorted_turns": _shorted_turns(unit, stage),
        "shorted_coil": [_shorted_coil(unit, stage)],
        "coil_to_frame": _coil_to_frame(unit, stage),
        "contact_not_closing": _contact_not_closing(slots, stage),
        "contact_resistance": _added(slots.contact(stage), low, high),
        "stage_joint_resistance": _added(slots.lead(stage), low, high),
        "welded_contact": [Effect(1.0, switching=Switching(welded=stage))],
    }
    if unit.fuse_fitted and not unit.common_fuse:
        causes["blown_fuse"] = [opening(slots.fuse(stage))]
    return causes


def _added(slot: int, low: float, high: float) -> list[Effect]:
    pieces = spread_over(float(np.exp(low)), float(np.exp(high)), lambda mean, spread: adding_ohm(slot, mean, spread))
    return [replace(piece, share=1.0 / len(pieces)) for piece in pieces]


def _contact_not_closing(slots: Slots, stage: int) -> list[Effect]:
    """Return a relay that does not pull, and a control signal that does not arrive."""
    relay = opening(slots.contact(stage), share=0.5)
    switching = Switching(missing_control=stage, dark_lamps=(stage,))
    return [relay, opening(slots.contact(stage), share=0.5, switching=switching)]


def _open_coil(unit: Unit, stage: int) -> Effect:
    strings = unit.strings
    factor = OPEN_OHM if strings == 1 else strings / (strings - 1)
    effect = scaling(Slots(unit.stages).coils(stage), lambda severity: np.full_like(severity, factor))
    return replace(effect, coil=CoilFault(stage, "open"))


def _group_factor(unit: Unit, string_share: Floats) -> Floats:
    """Return the coil group over its sound value, one string having a share of its resistance left."""
    factor: Floats = unit.strings / (unit.strings - 1 + 1.0 / string_share)
    return factor


def _shorted_turns(unit: Unit, stage: int) -> list[Effect]:
    def factor(fraction: Floats) -> Floats:
        return _group_factor(unit, 1.0 - np.clip(fraction, 0.02, 0.97) / unit.series)

    slot = Slots(unit.stages).coils(stage)
    pieces = [scaling(slot, factor, mean, spread) for mean, spread in TURNS]
    return [replace(piece, share=1 / len(TURNS), coil=CoilFault(stage, "turns")) for piece in pieces]


def _shorted_coil(unit: Unit, stage: int) -> Effect:
    left = (unit.series - 1) / unit.series
    share = np.asarray(max(left, _dead_share(unit, stage)))
    effect = scaling(Slots(unit.stages).coils(stage), lambda severity: severity * 0 + _group_factor(unit, share))
    return replace(effect, coil=CoilFault(stage, "shorted"))


def _coil_to_frame(unit: Unit, stage: int) -> list[Effect]:
    """Return a joint to the frame before each coil of a string: the coils from there on are bypassed."""
    slot = Slots(unit.stages).coils(stage)

    def at(place: int) -> Effect:
        def factor(log_ohm: Floats) -> Floats:
            string_ohm = float(unit.coil_ohm[stage] * unit.strings)
            return _group_factor(unit, place / unit.series + left_by_short(place, unit.series, log_ohm, string_ohm))

        effect = scaling(slot, factor, float(np.log(DEAD_SHORT_OHM)), 0.8)
        fault = CoilFault(stage, "frame", place, float(unit.coil_ohm[stage] * unit.strings))
        return replace(effect, share=1.0 / unit.series, coil=fault, frame_contact=stage)

    return [at(place) for place in range(unit.series)]


def left_by_short(place: int, series: int, log_ohm: Floats, string_ohm: float) -> Floats:
    """Return the share of a string's resistance that is left of its coils from `place` on, shorted to the frame."""
    bypassed, short = (series - place) / series, np.exp(log_ohm) / string_ohm
    return np.asarray(bypassed * short / (bypassed + short))


def _dead_share(unit: Unit, stage: int) -> float:
    return float(DEAD_SHORT_OHM / (unit.coil_ohm[stage] * unit.strings))
