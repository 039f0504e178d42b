"""The sound circuit held against many visits at once: visits that were read alike are fitted together."""

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.diagnosis.candidates import Candidate, sound_candidate, topology_of
from calc.diagnosis.fit import LARGEST_DRAW, LEAST_SLOPE, PASSES_FOR_ALL, PASSES_FOR_LIKELY, STEP, Problem
from calc.diagnosis.forward import Topology, solve_states
from calc.diagnosis.predict import Scene, predicted
from calc.diagnosis.slots import SoundRows, sound_rows_of

MOST_PASSES = PASSES_FOR_ALL + PASSES_FOR_LIKELY
# A fit whose draws move by less than this, in standard deviations, moves no misfit that is compared with a limit: what
# is left to move is its square.
SETTLED = 0.03
# So many visits at once stay in the processor's own memory.
AT_ONCE = 32


@dataclass(frozen=True, slots=True)
class SoundFit:
    """How a sound unit fits one visit: its draws, the misfit, and what one part alone could still take off it."""

    draws: Floats
    misfit: float
    strain: float


@dataclass(frozen=True, slots=True)
class _Alike:
    """Visits with the same readings in the same states; arrays have one row each."""

    first: Problem
    candidates: Sequence[Candidate]
    topology: Topology
    rows: SoundRows
    taken: Floats
    u_own: Floats

    @classmethod
    def of(cls, problems: Sequence[Problem]) -> "_Alike":
        """Return the visits stacked."""
        candidates = [sound_candidate(problem.unit) for problem in problems]
        each = [
            topology_of(problem.evidence, [one], problem.states)
            for problem, one in zip(problems, candidates, strict=True)
        ]
        topology = Topology(
            np.concatenate([one.outputs_on for one in each]), np.concatenate([one.hangs_on for one in each])
        )
        rows = [sound_rows_of(problem.unit) for problem in problems]
        stacked = SoundRows(np.stack([one.medians for one in rows]), np.stack([one.loadings for one in rows]))
        taken, u_own = (np.stack([getattr(problem, name) for problem in problems]) for name in ("taken", "u_own"))
        return cls(problems[0], candidates, topology, stacked, taken, u_own)

    def linearised(self, draws: Floats) -> tuple[Floats, Floats]:
        """Return the slopes, and the readings less what draws of nothing would show, over their own uncertainty."""
        count = draws.shape[1]
        varied = np.repeat(draws[:, None, :], count + 1, axis=1)
        varied[:, np.arange(count) + 1, np.arange(count)] += STEP
        rows = self.rows.at(varied)
        severity = np.zeros((*rows.shape[:2], 0))
        solved = solve_states(rows, self.topology)
        scene = Scene(rows, severity, solved, self.topology, self.candidates, self.first.unit.series)
        shown = predicted(scene, self.first.observations, self.first.state_of)
        slope = (shown[:, 1:] - shown[:, :1]).swapaxes(1, 2) / (STEP * self.u_own[..., None])
        offset = (self.taken - shown[:, 0]) / self.u_own + np.einsum("vmp,vp->vm", slope, draws)
        return slope, offset


def sound_fits_of(problems: Sequence[Problem]) -> list[SoundFit]:
    """Return how the sound unit fits each visit, in their order.

    The update is that of `calc.diagnosis.fit`, repeated until it settles.
    """
    alike: dict[Hashable, list[int]] = defaultdict(list)
    for index, problem in enumerate(problems):
        alike[_how_read(problem)].append(index)
    found: dict[int, SoundFit] = {}
    for places in alike.values():
        for first in range(0, len(places), AT_ONCE):
            together = places[first : first + AT_ONCE]
            found |= dict(zip(together, _fitted(_Alike.of([problems[place] for place in together])), strict=True))
    return [found[index] for index in range(len(problems))]


def _how_read(problem: Problem) -> Hashable:
    read = tuple((o.kind, o.commanded, o.stage, o.coil) for o in problem.observations)
    return problem.unit.stages, problem.unit.series, tuple(problem.states), read


def _fitted(alike: _Alike) -> list[SoundFit]:
    draws = np.zeros((len(alike.taken), alike.rows.loadings.shape[-1]))
    for _ in range(MOST_PASSES):
        slope, offset = alike.linearised(draws)
        gram = slope @ slope.swapaxes(1, 2) + np.eye(slope.shape[1])
        solved = np.linalg.solve(gram, np.concatenate([offset[..., None], slope], axis=-1))
        before, draws = draws, np.clip(np.einsum("vmp,vm->vp", slope, solved[..., 0]), -LARGEST_DRAW, LARGEST_DRAW)
        if np.abs(draws - before).max() < SETTLED:
            break
    misfit = np.einsum("vm,vm->v", offset, solved[..., 0])
    along, length = np.einsum("vmp,vm->vp", slope, solved[..., 0]), np.einsum("vmp,vmp->vp", slope, solved[..., 1:])
    strain = np.where(length > LEAST_SLOPE, along**2 / np.maximum(length, LEAST_SLOPE), 0.0).max(axis=-1)
    return [SoundFit(*each) for each in zip(draws, misfit.tolist(), strain.tolist(), strict=True)]
