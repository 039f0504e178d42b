"""Cases drawn from the priors that the inference states: causes by their weights, severities over their ranges."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from calc import circuit_faults as faults
from calc.diagnosis import priors
from inspections.bench.cases import Case, added, sound_case
from inspections.bench.causes import DRAWS

CALIBRATION = "calibration"
RANGES: Mapping[str, tuple[float, float]] = {
    "contact_resistance": priors.STAGE_OHM_RANGE,
    "stage_joint_resistance": priors.STAGE_OHM_RANGE,
    "retarder_ground": priors.RETARDER_GROUND_RANGE,
    "chassis_ground": priors.SUPPLY_OHM_RANGE,
    "supply_joint": priors.SUPPLY_OHM_RANGE,
}
SIZED = {
    "contact_resistance": faults.with_contact_resistance,
    "stage_joint_resistance": faults.with_stage_joint_resistance,
    "retarder_ground": lambda circuit, _, ohm: faults.with_retarder_ground(circuit, ohm),
    "chassis_ground": lambda circuit, _, ohm: faults.with_chassis_ground(circuit, ohm),
    "supply_joint": lambda circuit, _, ohm: faults.with_supply_joint(circuit, ohm),
}
STAGED = ("contact_resistance", "stage_joint_resistance")


def drawn_from_priors(generator: np.random.Generator) -> Case:
    """Return a case as often sound, and as often of each cause, as the inference believes before any reading."""
    case = replace(sound_case(generator, least_stages=2), outputs_looked_at=True)
    if generator.uniform() < priors.HEALTHY_PRIOR:
        return case
    causes = [cause for cause in DRAWS if not (cause == "shorted_coil" and case.rating.coils_in_series == 1)]
    weights = np.array([priors.CAUSE_WEIGHTS[cause] for cause in causes])
    cause = str(generator.choice(causes, p=weights / weights.sum()))
    stage = int(generator.integers(1, case.rating.stages + 1))
    if cause in SIZED:
        return added(cause, SIZED[cause], RANGES[cause], staged=cause in STAGED)(generator, case, stage)
    return DRAWS[cause](generator, case, stage)
