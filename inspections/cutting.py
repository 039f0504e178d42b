"""How units are cut into parts, and how long a part that fails is cut in two in search of what is the cause."""

from collections.abc import Sequence

import numpy as np

from calc.arrays import Ints

# So many failures have another cause than a unit, and cutting on would only repeat it for every one of them.
MOST_CUT_OUT = 20
# But where most units are done, a failure is a unit's own, however many have failed in a large fleet.
DONE_PER_FAILURE = 20


def cuts_on(*, failures: int, done: int) -> bool:
    """Tell whether to cut on after so many failures beside so many units done."""
    return failures < MOST_CUT_OUT + done // DONE_PER_FAILURE


def cut(units: Ints, taken: Sequence[tuple[int, int]], most: int) -> list[list[int]]:
    """Return units, rising, in parts of at most so many, none of which reaches over a range that is taken.

    Examples
    --------
    >>> cut(np.arange(1, 10), [(4, 5)], most=2)
    [[1, 2], [3], [6, 7], [8, 9]]
    """
    begins, ends = np.array([(-1, -1), *taken]).T
    begun = np.searchsorted(begins, units, side="right")
    free = np.maximum.accumulate(ends)[begun - 1] < units
    units, begun = units[free], begun[free]
    parts = np.split(units, np.flatnonzero(np.diff(begun)) + 1)
    return [part[start : start + most].tolist() for part in parts for start in range(0, len(part), most)]
