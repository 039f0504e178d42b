"""How long a set of units that fails as a whole is cut in two in search of the units that are the cause."""

# So many failures have another cause than a unit, and cutting on would only repeat it for every one of them.
MOST_CUT_OUT = 20
# But where most units are done, a failure is a unit's own, however many have failed in a large fleet.
DONE_PER_FAILURE = 20


def cuts_on(*, failures: int, done: int) -> bool:
    """Tell whether to cut on after so many failures beside so many units done."""
    return failures < MOST_CUT_OUT + done // DONE_PER_FAILURE
