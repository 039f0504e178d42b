"""Meters that begin to read otherwise while nothing is on file about it, found by comparison.

Within the use of each meter one step is looked for at a time; what it read from there on is a part of its own, and the
model of all meters is solved anew with it.  What is found is a function of the visits and of the steps on file: those
stay at their day while the visits bear them out at lower bounds, so that a step on the border does not come and go.
"""

from calc.trend.found_steps import NO_STEPS, FoundSteps
from calc.trend.step_model import MOST_STEPS, Ranges, StepModel, SteppedEffects


def stepped_effects(ranges: Ranges, meters: int, on_file: FoundSteps = NO_STEPS) -> SteppedEffects:
    """Return the effect of every meter, and of what it read from each step on.

    Parameters
    ----------
    ranges : callable
        Gives the visits of all units anew, range by range, their times counted from the start of a day.
    meters : int
        How many there are.
    on_file : FoundSteps, optional
        What was found before.

    Notes
    -----
    A step counts where it gains enough for the best of many dates, its size matters, most of the units it needs show
    it, and no other meter that read the same units moved along.  It is the meter's only where others corroborate it by
    what they read on these units since; with one meter for all units nothing tells it from what happens to all of them
    at once, and it stays a doubt.

    Effects are shrunk to zero by their spread in the fleet, those of parts too: what is taken out is rather less than
    the whole step, and what is left of it still counts as loss.

    References
    ----------
    D. W. K. Andrews, Econometrica 61 (1993) 821: the largest of the statistics over all dates of a step (from memory).
    """
    model = StepModel(ranges, meters)
    found = model.seen_again(on_file)
    for _ in range(MOST_STEPS):
        fresh = model.steps(found)
        if not len(fresh):
            break
        found = model.solved(found.steps.beside(fresh))
    # As if it had been on file: the next time, nothing but new visits makes a difference.
    return found if found.steps.on_file.all() else model.seen_again(found.steps.as_filed())
