"""Which reading speaks for a cause: the one that it explains and that the unit without it does not."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.diagnosis.candidates import Cause
from calc.diagnosis.fit import scene_of
from calc.diagnosis.observations import Observation, expected_value
from calc.diagnosis.predict import predicted
from calc.diagnosis.weigh import Weighed

# Less than this square of a reading's own uncertainties is no witness.
LEAST_SAID = 4.0


@dataclass(frozen=True, slots=True)
class Witness:
    """A reading taken, and what it would have shown without the cause [V, A or Ω]; stages and coils count from 1."""

    kind: str
    stage: int | None
    coil: int | None
    energised: tuple[int, ...]
    value: float | None
    without_cause: float | None


def witnesses_of(weighed: Weighed) -> dict[tuple[str, int | None], Witness]:
    """Return the reading that says most for each cause, by cause and stage; none where no reading says much."""
    places = {causes: _likeliest(weighed, members) for causes, members in weighed.by_causes().items()}
    if not weighed.problem.observations:
        return {}
    shown = _shown(weighed)
    found: dict[tuple[str, int | None], Witness] = {}
    for causes in sorted(places, key=lambda causes: -weighed.weights[places[causes]]):
        for cause in causes:
            rival = _without(causes, cause, places)
            witness = None if rival is None else _witness(weighed, shown[places[causes]], shown[rival])
            if witness is not None:
                for stage in cause.stages or (None,):
                    found.setdefault((cause.code, stage), witness)
    return found


def _likeliest(weighed: Weighed, members: list[int]) -> int:
    return max(members, key=lambda place: weighed.weights[place])


def _shown(weighed: Weighed) -> Floats:
    """Return what each candidate shows at its fit, shape (candidates, readings)."""
    problem, fit = weighed.problem, weighed.fit
    scene = scene_of(problem, fit.candidates, fit.topology, fit.draws)
    return np.asarray(predicted(scene, problem.observations, problem.state_of)[:, 0])


def _without(causes: tuple[Cause, ...], cause: Cause, places: dict[tuple[Cause, ...], int]) -> int | None:
    """Return the candidate that has the other causes only; with none left, the sound unit, which comes first."""
    others = tuple(other for other in causes if other != cause)
    rival = places.get(others) if others else 0
    return None if rival == places[causes] else rival


def _witness(weighed: Weighed, shown: Floats, rival: Floats) -> Witness | None:
    problem = weighed.problem
    missed = ((problem.taken - rival) / problem.u_own) ** 2 - ((problem.taken - shown) / problem.u_own) ** 2
    best = int(np.argmax(missed))
    if missed[best] < LEAST_SAID:
        return None
    return _told(problem.observations[best], float(rival[best]))


def _told(observation: Observation, without: float) -> Witness:
    return Witness(
        observation.kind,
        observation.stage + 1 if observation.stage >= 0 else None,
        observation.coil + 1 if observation.coil >= 0 else None,
        tuple(sorted(stage + 1 for stage in observation.commanded)),
        expected_value(observation.kind, observation.value),
        expected_value(observation.kind, without),
    )
