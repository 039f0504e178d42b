"""What a step has to show to be raised, and what less keeps one that is on file: else it would come and go."""

from dataclasses import dataclass

from calc.trend.meter_model import FLAGGED_EFFECT_PERCENT, FLAGGED_Z


@dataclass(frozen=True, slots=True)
class Bounds:
    """Bounds on a step.

    Attributes
    ----------
    gain : float
        Twice the gain in log likelihood that it has to bring, over the scatter of the meter's own bins. [-]
    step_percent : float
        Least size. [%]
    units : int
        Units that bridge it: the meter has read them before and since, and they have been read twice since.
    share_moved : float
        Share of these units that show more than half of it. [-]
    others_share : float
        Share of it that other meters on the same units may show before they are taken to have moved along. [-]
    difference_z : float
        How sure it has to be that the meter has moved and the others have not. [-]
    flagged_z, flagged_percent : float
        How sure and how large the effect of what was read since has to be, to be taken out of the levels. [-], [%]
    """

    gain: float
    step_percent: float
    units: int
    share_moved: float
    others_share: float
    difference_z: float
    flagged_z: float
    flagged_percent: float


# The gain by simulation: healthy meters, ill-known temperatures among them, cross it less than once in a hundred
# meter-years.  What reads so little otherwise would not be flagged either.  A step of fewer units may be theirs.
RAISED = Bounds(
    gain=18.0,
    step_percent=FLAGGED_EFFECT_PERCENT,
    units=10,
    share_moved=2 / 3,
    others_share=0.5,
    difference_z=3.0,
    flagged_z=FLAGGED_Z,
    flagged_percent=FLAGGED_EFFECT_PERCENT,
)
KEPT = Bounds(
    gain=9.0,
    step_percent=0.6,
    units=6,
    share_moved=0.5,
    others_share=0.65,
    difference_z=2.0,
    flagged_z=2.5,
    flagged_percent=0.7,
)
