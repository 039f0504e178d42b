"""What the person at the vehicle cannot reach: kept in their session, so that the next best reading is asked for."""

from uuid import UUID

from django.contrib.sessions.backends.base import SessionBase

from calc.diagnosis.offers import Spot

KEY = "out_of_reach"
MOST_CHECKS, MOST_SPOTS = 20, 60


def out_of_reach(session: SessionBase, check: UUID) -> set[Spot]:
    """Return the readings that were passed over for a check."""
    return {(kind, stage, coil) for kind, stage, coil in session.get(KEY, {}).get(str(check), [])}


def pass_over(session: SessionBase, check: UUID, spot: Spot) -> None:
    """Ask for this reading no more."""
    kept = dict(session.get(KEY, {}))
    spots = [*kept.pop(str(check), []), list(spot)]
    kept[str(check)] = spots[-MOST_SPOTS:]
    session[KEY] = dict(list(kept.items())[-MOST_CHECKS:])


def reach_again(session: SessionBase, check: UUID) -> None:
    """Ask for everything again."""
    session[KEY] = {key: spots for key, spots in session.get(KEY, {}).items() if key != str(check)}
