"""The readings that could be taken next, and what each costs in work and risk."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from calc.diagnosis.candidates import Cause
from calc.diagnosis.fit import Problem
from calc.diagnosis.observations import Commanded, Observation
from calc.diagnosis.safety import Safety

# Effort and risk beside a reading of the output voltage.  Judgement, not data.
COST = {
    "quiescent_current": 0.7,
    "output_voltage": 1.0,
    "contact_drop": 1.1,
    "battery_voltage": 1.1,
    "supply_drop": 1.2,
    "chassis_ground_drop": 1.2,
    "frame_ground_drop": 1.2,
    "fuse_drop": 1.2,
    "stage_current": 1.3,
    "control_voltage": 1.8,
    "coil_drop": 2.5,
    "coil_resistance": 3.0,
    "insulation_resistance": 3.0,
}
UNIT_KINDS = ("supply_drop", "chassis_ground_drop", "frame_ground_drop", "battery_voltage")
STAGE_KINDS = (
    "output_voltage",
    "contact_drop",
    "fuse_drop",
    "stage_current",
    "coil_resistance",
    "insulation_resistance",
)
ALONE_KINDS = ("output_voltage", "stage_current")
# Kind, stage and coil of a reading, counted from 1.
Spot = tuple[str, int | None, int | None]


def offers(
    problem: Problem, safety: Safety, causes: Sequence[Cause], out_of_reach: Collection[Spot] = ()
) -> list[Observation]:
    """Return every reading worth weighing for these causes that is safe, can be reached and has not been taken."""
    taken = {_place(observation) for observation in problem.observations}
    wanted = [*_of_unit(problem, safety), *_of_stages(problem, safety, causes)]
    reached = [offer for offer in wanted if spot_of(offer) not in out_of_reach]
    return [offer for offer in reached if safety.allows(offer) and _place(offer) not in taken]


def spot_of(offer: Observation) -> Spot:
    """Return where a reading is taken, counted from 1."""
    return offer.kind, offer.stage + 1 if offer.stage >= 0 else None, offer.coil + 1 if offer.coil >= 0 else None


def _place(observation: Observation) -> tuple[str, int, int, bool]:
    """Return what makes a reading the same as one taken; the other stages on make it no other."""
    alone = observation.kind in ALONE_KINDS and len(observation.commanded) == 1
    return observation.kind, observation.stage, observation.coil, alone


def _of_unit(problem: Problem, safety: Safety) -> Iterator[Observation]:
    everything: Commanded = safety.without_hot(frozenset(range(problem.unit.stages)))
    yield Observation("quiescent_current", frozenset())
    for kind in UNIT_KINDS:
        if kind != "frame_ground_drop" or problem.evidence.return_path != "insulated":
            yield Observation(kind, everything)


def _of_stages(problem: Problem, safety: Safety, causes: Sequence[Cause]) -> Iterator[Observation]:
    everything: Commanded = safety.without_hot(frozenset(range(problem.unit.stages)))
    stages = {stage - 1 for cause in causes for stage in cause.stages}
    if any(cause.code in ("hot_coils", "clamp_gain", "wrong_rating") for cause in causes):
        stages.add(0)
    for stage in sorted(stages):
        for kind in _kinds(problem):
            isolated = kind in ("coil_resistance", "insulation_resistance")
            yield Observation(kind, frozenset() if isolated else everything, stage)
        for kind in ALONE_KINDS:
            if problem.unit.stages > 1:
                yield Observation(kind, frozenset({stage}), stage)
        for coil in range(problem.unit.series * problem.unit.strings):
            yield Observation("coil_drop", everything, stage, coil)


def _kinds(problem: Problem) -> Iterator[str]:
    yield from (kind for kind in STAGE_KINDS if kind != "fuse_drop" or problem.unit.fuse_fitted)
    if problem.evidence.relay_box.control_input in (None, "positive_switched"):
        yield "control_voltage"


def with_uncertainty(offer: Observation, u_own: float) -> Observation:
    """Return an offer with the uncertainty it will be read with."""
    return replace(offer, u_own=u_own)
