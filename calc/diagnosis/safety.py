"""Which readings may be asked for: nothing live on a stage that draws far too much, nothing live in a collapse."""

from dataclasses import dataclass

import numpy as np

from calc.copper import resistance_growth
from calc.diagnosis.fit import Problem
from calc.diagnosis.observations import ISOLATED_KINDS, Commanded, Observation

OVER_CURRENT_SHARE = 1.3
# A box voltage below this share of the system voltage while current flows is a supply collapsing.
COLLAPSE_SHARE = 0.6
NOTHING_LIVE_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Safety:
    """Stages, counted from 0, that may not be energised again, and whether anything may be."""

    hot_stages: frozenset[int]
    collapsed: bool

    def allows(self, observation: Observation) -> bool:
        """Return whether a reading may be asked for."""
        if observation.kind in ISOLATED_KINDS or observation.kind == "quiescent_current":
            return True
        return not self.collapsed and observation.stage not in self.hot_stages and bool(observation.commanded)

    def without_hot(self, commanded: Commanded) -> Commanded:
        """Return the inputs that may be commanded of those wanted."""
        return commanded - self.hot_stages


def safety_of(problem: Problem) -> Safety:
    """Return what the readings taken forbid."""
    return Safety(frozenset(_hot_stages(problem)), _collapsed(problem))


def _hot_stages(problem: Problem) -> set[int]:
    """Return the stages over 130 % of expectation, alone or as a step of a cumulative pass."""
    conductance_s = _conductances(problem)
    hot = set()
    for commanded, found_s in conductance_s.items():
        for stage in commanded:
            before_s = conductance_s.get(commanded - {stage}, 0.0 if len(commanded) == 1 else None)
            if before_s is not None and found_s - before_s > OVER_CURRENT_SHARE * _expected_s(problem, stage):
                hot.add(stage)
    return hot | _hot_leads(problem)


def _hot_leads(problem: Problem) -> set[int]:
    rated_a = problem.unit.rated_a
    volts = problem.unit.nominal_emf_v / problem.unit.reference_voltage_v
    return {
        o.stage
        for o in problem.observations
        if o.kind == "stage_current" and o.value > OVER_CURRENT_SHARE * volts * rated_a[o.stage]
    }


def _expected_s(problem: Problem, stage: int) -> float:
    unit, reference_c = problem.unit, problem.evidence.rating.reference_temperature_c
    cooling = resistance_growth(reference_c) / resistance_growth(unit.coil_temperature_c)
    return float(cooling / unit.loop_ohm[stage])


def _conductances(problem: Problem) -> dict[Commanded, float]:
    """Return total amps over box volts of every state read with inputs commanded, a small rest current subtracted."""
    volts = {o.commanded: o.value for o in problem.observations if o.kind == "volts"}
    amps = {o.commanded: o.value for o in problem.observations if o.kind == "current"}
    rest_a = amps.get(frozenset(), 0.0)
    zero_a = rest_a if abs(rest_a) <= 0.15 * float(np.min(problem.unit.rated_a)) else 0.0
    least_v = NOTHING_LIVE_SHARE * problem.evidence.rating.system_voltage_v
    states = [state for state in amps if state and volts.get(state, 0.0) > least_v]
    return {state: (amps[state] - zero_a) / volts[state] for state in states}


def _collapsed(problem: Problem) -> bool:
    least_v = COLLAPSE_SHARE * problem.evidence.rating.system_voltage_v
    amps = {o.commanded: o.value for o in problem.observations if o.kind == "current"}
    flowing_a = 0.5 * float(np.min(problem.unit.rated_a))
    return any(
        o.kind == "volts" and o.commanded and o.value < least_v and amps.get(o.commanded, 0.0) > flowing_a
        for o in problem.observations
    )
