"""Fitting every candidate to the readings: an iterated Gaussian update, and the evidence that it leaves."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.diagnosis.candidates import Candidate, apply_effects, starting_means, topology_of
from calc.diagnosis.effects import SEVERITIES
from calc.diagnosis.forward import Topology, solve_states
from calc.diagnosis.observations import Commanded, Observation
from calc.diagnosis.predict import Scene, predicted
from calc.diagnosis.slots import Slots, physical_rows
from calc.diagnosis.unit import Unit
from calc.evidence import Evidence

STEP = 1e-5
PASSES_FOR_ALL, PASSES_FOR_LIKELY = 2, 4
# ln of the evidence ratio beyond which a candidate is not fitted further.
HOPELESS = 40.0
LARGEST_DRAW = 6.0
# A part that moves no reading by this many of its own uncertainties, squared, is not felt.
LEAST_SLOPE = 1e-3
PROBE_SIZE = 0.4
# Predictions closer than this share of a reading's own uncertainty are the same.
ALIKE_SHARE = 1e-3


@dataclass(frozen=True, slots=True)
class Problem:
    """The unit, its readings and the switching states they were taken in."""

    evidence: Evidence
    unit: Unit
    observations: Sequence[Observation]
    states: Sequence[Commanded]
    state_of: Sequence[int]
    taken: Floats
    u_own: Floats

    @classmethod
    def of(cls, evidence: Evidence, unit: Unit, observations: Sequence[Observation]) -> "Problem":
        """Return the problem of a set of readings."""
        # Outputs may have been looked at where the meters gave nothing to observe.
        looked_at = {frozenset(stage - 1 for stage in reading.energised) for reading in evidence.stage_readings}
        observed = {observation.commanded for observation in observations}
        states = sorted(observed | looked_at | {frozenset()}, key=sorted)
        place = {state: index for index, state in enumerate(states)}
        state_of = [place[observation.commanded] for observation in observations]
        taken = np.array([observation.value for observation in observations])
        u_own = np.array([observation.u_own for observation in observations])
        return cls(evidence, unit, observations, states, state_of, taken, u_own)

    def state(self, energised: Iterable[int]) -> int:
        """Return the place of the state with these inputs, counted from 1, commanded."""
        return self.states.index(frozenset(stage - 1 for stage in energised))


@dataclass(frozen=True, slots=True)
class Linear:
    """Predictions and their slopes in the draws about one point, per candidate."""

    shown: Floats
    slope: Floats


@dataclass(frozen=True, slots=True)
class Fit:
    """Per candidate: the best draws, ln of the evidence, and the misfit that no severity is charged for."""

    candidates: Sequence[Candidate]
    topology: Topology
    draws: Floats
    log_evidence: Floats
    misfit: Floats

    def take(self, index: Sequence[int]) -> "Fit":
        """Return some of the candidates."""
        topology = Topology(self.topology.outputs_on[index], self.topology.hangs_on[index])
        kept = [self.candidates[place] for place in index]
        return Fit(kept, topology, self.draws[index], self.log_evidence[index], self.misfit[index])


def fit(problem: Problem, candidates: Sequence[Candidate]) -> Fit:
    """Return the fit of every candidate; those that the readings cannot tell apart are fitted once."""
    start = starting_fit(problem, candidates)
    if len(candidates) == 1:
        return _fitted(problem, start)
    first, alike = _alike(problem, start)
    found = _fitted(problem, start.take(first))
    return Fit(candidates, start.topology, found.draws[alike], found.log_evidence[alike], found.misfit[alike])


def _alike(problem: Problem, start: Fit) -> tuple[list[int], Ints]:
    """Return one candidate of each kind that shows the same, and for every candidate which of these stands for it.

    Candidates that agree at a point off every axis agree everywhere.
    """
    probe = np.broadcast_to(PROBE_SIZE * np.sin(1.0 + np.arange(start.draws.shape[1])), start.draws.shape)
    scene = scene_of(problem, start.candidates, start.topology, probe)
    shown = predicted(scene, problem.observations, problem.state_of)[:, 0]
    # One more column, so that without readings all are alike rather than none.
    steps = np.column_stack([np.zeros(len(shown)), np.rint(shown / (ALIKE_SHARE * problem.u_own))])
    _, first, alike = np.unique(steps, axis=0, return_index=True, return_inverse=True)
    return first.tolist(), alike.reshape(-1)


def _fitted(problem: Problem, whole: Fit) -> Fit:
    """Return the fit of distinct candidates; those without hope are left where two updates brought them.

    Each update is the Gaussian one about the last point (the iterated extended Kalman filter); the evidence is that of
    the last linearisation, Laplace's approximation of the marginal likelihood.

    References
    ----------
    B. M. Bell, F. W. Cathey, "The iterated Kalman filter update as a Gauss-Newton method", IEEE Transactions on
    Automatic Control 38 (1993) 294-297.
    """
    for _ in range(PASSES_FOR_ALL):
        whole = _updated(problem, whole)
    likely = np.flatnonzero(_hopeful(whole)).tolist()
    part = whole.take(likely)
    for _ in range(PASSES_FOR_LIKELY):
        part = _updated(problem, part)
    for mine, theirs in (
        (whole.draws, part.draws),
        (whole.log_evidence, part.log_evidence),
        (whole.misfit, part.misfit),
    ):
        mine[likely] = theirs
    return whole


def starting_fit(problem: Problem, candidates: Sequence[Candidate]) -> Fit:
    """Return every candidate at its medians, before any reading."""
    topology = topology_of(problem.evidence, candidates, problem.states)
    columns = SEVERITIES * max(len(candidate.effects) for candidate in candidates)
    draws = np.zeros((len(candidates), Slots(problem.unit.stages).draws + columns))
    return Fit(candidates, topology, draws, np.zeros(len(candidates)), np.zeros(len(candidates)))


def linearised(problem: Problem, candidates: Sequence[Candidate], topology: Topology, draws: Floats) -> Linear:
    """Return the predictions of every candidate at its draws, and their slopes by forward differences."""
    count = draws.shape[1]
    varied = np.repeat(draws[:, None, :], count + 1, axis=1)
    varied[:, np.arange(count) + 1, np.arange(count)] += STEP
    scene = _scene(problem, candidates, topology, varied)
    shown = predicted(scene, problem.observations, problem.state_of)
    return Linear(shown[:, 0], np.moveaxis((shown[:, 1:] - shown[:, :1]) / STEP, 1, 2))


def scene_of(problem: Problem, candidates: Sequence[Candidate], topology: Topology, draws: Floats) -> Scene:
    """Return the solved circuit of every candidate at its draws, one row each."""
    return _scene(problem, candidates, topology, draws[:, None, :])


def _scene(problem: Problem, candidates: Sequence[Candidate], topology: Topology, varied: Floats) -> Scene:
    own = Slots(problem.unit.stages).draws
    mean, spread = starting_means(candidates, varied.shape[-1] - own)
    severity = mean[:, None, :] + spread[:, None, :] * varied[..., own:]
    rows = physical_rows(problem.unit, varied[..., :own])
    apply_effects(candidates, rows, severity)
    return Scene(rows, severity, solve_states(rows, topology), topology, candidates, problem.unit.series)


def strain(problem: Problem, one: Fit) -> float:
    """Return by how much the misfit of one candidate falls, at best, if a single part may lie where it likes.

    References
    ----------
    The score test; C. R. Rao, Mathematical Proceedings of the Cambridge Philosophical Society 44 (1948) 50-57.
    """
    slope, offset = (part[0] for part in _in_own_uncertainties(problem, one))
    solved = np.linalg.solve(slope @ slope.T + np.eye(len(slope)), np.column_stack([offset, slope]))
    along, length = slope.T @ solved[:, 0], np.einsum("mp,mp->p", slope, solved[:, 1:])
    felt = length > LEAST_SLOPE
    return float((along[felt] ** 2 / length[felt]).max(initial=0.0))


def _in_own_uncertainties(problem: Problem, before: Fit) -> tuple[Floats, Floats]:
    """Return the slopes, and the readings less what sound draws would show, each over its own uncertainty."""
    linear = linearised(problem, before.candidates, before.topology, before.draws)
    slope = linear.slope / problem.u_own[:, None]
    offset = (problem.taken - linear.shown) / problem.u_own + np.einsum("bmp,bp->bm", slope, before.draws)
    return slope, offset


def _updated(problem: Problem, before: Fit) -> Fit:
    slope, offset = _in_own_uncertainties(problem, before)
    lower = np.linalg.cholesky(slope @ slope.swapaxes(1, 2) + np.eye(slope.shape[1]))
    whitened = np.linalg.solve(lower, offset[..., None])
    weights = np.linalg.solve(lower.swapaxes(1, 2), whitened)[..., 0]
    draws = np.clip(np.einsum("bmp,bm->bp", slope, weights), -LARGEST_DRAW, LARGEST_DRAW)
    distance = (whitened[..., 0] ** 2).sum(axis=-1)
    log_volume = np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=-1) + np.log(problem.u_own).sum()
    log_evidence = -0.5 * (distance + len(problem.taken) * np.log(2 * np.pi)) - log_volume
    severity = draws[:, Slots(problem.unit.stages).draws :]
    return Fit(before.candidates, before.topology, draws, log_evidence, distance - (severity**2).sum(axis=-1))


def _hopeful(fit: Fit) -> Bools:
    weighted = fit.log_evidence + np.array([candidate.log_prior for candidate in fit.candidates])
    hopeful: Bools = weighted > weighted.max() - HOPELESS
    return hopeful
