"""What is believed before any reading: how often each cause occurs, and how a sound unit scatters.

All figures are judgement, not data.  Counts of confirmed causes move the frequencies as they come in.
"""

from collections.abc import Mapping
from types import MappingProxyType

HEALTHY_PRIOR = 0.66
NONE_OF_THESE_PRIOR = 0.004
# How many confirmed causes it takes before they weigh as much as the judgement.
JUDGEMENT_WEIGHT = 50.0
# A second fault of its own beside the first, as a share of the units with a first.
SECOND_FAULT_SHARE = 0.05

CAUSE_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "retarder_ground": 8.0,
        "chassis_ground": 6.0,
        "supply_joint": 4.5,
        "stage_joint_resistance": 6.0,
        "hot_coils": 7.0,
        "clamp_zero": 5.0,
        "clamp_gain": 4.0,
        "wrong_rating": 3.0,
        "low_supply": 15.0,
        "contact_not_closing": 12.0,
        "control_ground_open": 2.0,
        "open_stage_lead": 4.0,
        "open_coil": 4.0,
        "contact_resistance": 7.0,
        "blown_fuse": 5.0,
        "shorted_turns": 1.2,
        "shorted_coil": 0.9,
        "coil_to_frame": 0.9,
        "welded_contact": 1.0,
        "supply_cable": 1.5,
        "outputs_exchanged": 0.6,
        "leads_doubled": 0.4,
        "main_supply_open": 1.0,
    }
)

# Shares of the stage loop V_ref / I_rated, beside which resistances that are not known lie.
SPREAD_OF_LN_UNKNOWN = 0.35
SPREAD_OF_LN_KNOWN_CABLE = 0.06
# A class 5 cable stays a little below the largest resistance that its standard permits.
KNOWN_CABLE_SHARE = 0.96
STAGE_COIL_SPREAD = 0.010
UNIT_COIL_SPREAD = 0.012
# With no reference voltage the rated amps say little about ohms.
UNIT_COIL_SPREAD_WITHOUT_REFERENCE = 0.15

USUAL_SUPPLY_SHARE = 0.0053

# Severities, each evenly spread in its logarithm.  Added ohms are shares of the stage loop.
STAGE_OHM_RANGE = (0.03, 2.0)
RETARDER_GROUND_RANGE = (0.010, 0.30)
SUPPLY_OHM_RANGE = (0.008, 0.20)
CLAMP_ZERO_RANGE = (0.02, 0.20)


def cause_probabilities(possible: Mapping[str, int], confirmed_counts: Mapping[str, int]) -> dict[str, float]:
    """Return the prior probability of each cause that a unit can have, all faults together 1 less the rest.

    Parameters
    ----------
    possible : mapping
        Cause codes that the unit can have.
    confirmed_counts : mapping
        How often each cause was confirmed by a repair; judgement weighs as `JUDGEMENT_WEIGHT` of them (the mean of a
        Dirichlet distribution).

    Examples
    --------
    >>> round(sum(cause_probabilities({"low_supply": 1, "open_coil": 4}, {}).values()), 3)
    0.336
    """
    total = sum(CAUSE_WEIGHTS.values())
    raised = {
        cause: JUDGEMENT_WEIGHT * CAUSE_WEIGHTS[cause] / total + confirmed_counts.get(cause, 0) for cause in possible
    }
    faulty = 1.0 - HEALTHY_PRIOR - NONE_OF_THESE_PRIOR
    return {cause: faulty * weight / sum(raised.values()) for cause, weight in raised.items()}
