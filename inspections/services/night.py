"""The night's work: due states as of an instant, and what is owed to people.  Running it twice changes nothing."""

import datetime as dt
import logging
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields
from functools import partial

from accounts.models import Organisation
from accounts.outbox import Delivery
from accounts.queries import open_organisations
from accounts.repeats import forget_old_answers
from accounts.tenancy import organisation_transaction
from inspections.cutting import cuts_on
from inspections.queries import last_checks
from inspections.services.releases import end_releases, send_release_notices
from inspections.services.trends import HandOut, Tell, refresh_trends
from schedules.queries import FittedUnit, fitted_units_in_service, plans_count_usage
from schedules.services.due_dates import refresh_due_dates_of
from schedules.services.outbox import send_owed_reminders
from schedules.services.reminders import queue_reminders

CHUNK = 2_000
# Where plans count usage, every counter reading of the vehicles is held as well.
CHUNK_WITH_READINGS = 500

Step = Callable[[], dict[str, int]]

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class NightReport:
    """What one night did, and how much of it failed and is left to the next.

    `trends_failed` and `due_dates_failed` count units; a step that failed for a whole organisation, or in the sending
    for all, counts in `steps_failed`, and so does a measuring of the clamps.
    """

    organisations: int = 0
    installations: int = 0
    trends_fitted: int = 0
    declines_changed: int = 0
    due_dates_changed: int = 0
    reminders_queued: int = 0
    reminders_sent: int = 0
    releases_ended: int = 0
    trends_failed: int = 0
    due_dates_failed: int = 0
    steps_failed: int = 0

    @property
    def failed(self) -> bool:
        """Return whether anything is left undone."""
        return self.trends_failed + self.due_dates_failed + self.steps_failed > 0


def run_night(*, as_of: dt.datetime, hand_out: HandOut | None = None, tell: Tell | None = None) -> NightReport:
    """Fit what has news, refresh every due date, queue what is owed and send it, organisation by organisation.

    `hand_out` offers chunks of the fitting to other workers, `tell` is told how far it is.  What fails is left to the
    next night and counted; it keeps nothing else from being done.
    """
    organisations = open_organisations()
    counted = dict.fromkeys((field.name for field in fields(NightReport)), 0)
    counted["organisations"] = len(organisations)
    for organisation in organisations:
        steps: list[Step] = [
            partial(_trends, organisation, hand_out, tell),
            partial(_due_dates, organisation, as_of),
            partial(_reminders, organisation, as_of),
            partial(_releases, organisation, as_of),
            partial(_forgetting, organisation, as_of),
        ]
        for step in steps:
            _add(counted, _attempted(step, f"organisation {organisation.pk}"))
    for send in (send_owed_reminders, send_release_notices):
        _add(counted, _attempted(partial(_sent, send), "every organisation"))
    return NightReport(**counted)


def _attempted(step: Step, whose: str) -> dict[str, int]:
    try:
        return step()
    except Exception:
        # The other steps and organisations do not wait for this one; the error stands in the log, the count in the run.
        logger.exception("%s: a step of the night failed", whose)
        return {"steps_failed": 1}


def _add(counted: dict[str, int], found: dict[str, int]) -> None:
    for name, count in found.items():
        counted[name] += count


def _trends(organisation: Organisation, hand_out: HandOut | None, tell: Tell | None) -> dict[str, int]:
    report = refresh_trends(organisation, hand_out=hand_out, tell=tell)
    return {
        "trends_fitted": report.fitted,
        "declines_changed": report.declines_changed,
        "trends_failed": report.failed,
        "steps_failed": 0 if report.clamps_measured else 1,
    }


def _due_dates(organisation: Organisation, as_of: dt.datetime) -> dict[str, int]:
    refresh = _Refresh(organisation, as_of)
    for chunk in _chunks(organisation):
        refresh.of(chunk)
    return {
        "installations": refresh.done + refresh.failed,
        "due_dates_changed": refresh.changed,
        "due_dates_failed": refresh.failed,
    }


@dataclass(slots=True)
class _Refresh:
    """The due dates of an organisation: of how many units they are worked out, changed, or not to be had."""

    organisation: Organisation
    as_of: dt.datetime
    done: int = 0
    changed: int = 0
    failed: int = 0
    failures: int = 0

    def of(self, units: Sequence[FittedUnit]) -> None:
        """Refresh the due dates of some units; where that fails, of each half, down to the unit that is the cause."""
        try:
            with organisation_transaction(self.organisation):
                changed = refresh_due_dates_of(units, last_checks, as_of=self.as_of)
        except Exception:
            if len(units) == 1 or not cuts_on(failures=self.failures, done=self.done):
                self._give_up(units)
                return
            for half in (units[: len(units) // 2], units[len(units) // 2 :]):
                self.of(half)
        else:
            self.done += len(units)
            self.changed += changed

    def _give_up(self, units: Sequence[FittedUnit]) -> None:
        first, last = units[0].pk, units[-1].pk
        logger.exception("organisation %s: no due dates for installations %s to %s", self.organisation.pk, first, last)
        self.failed += len(units)
        self.failures += 1


def _reminders(organisation: Organisation, as_of: dt.datetime) -> dict[str, int]:
    return {"reminders_queued": queue_reminders(organisation, as_of=as_of)}


def _releases(organisation: Organisation, as_of: dt.datetime) -> dict[str, int]:
    with organisation_transaction(organisation):
        return {"releases_ended": end_releases(organisation, as_of=as_of)}


def _forgetting(organisation: Organisation, as_of: dt.datetime) -> dict[str, int]:
    with organisation_transaction(organisation):
        forget_old_answers(organisation, as_of=as_of)
    return {}


def _sent(send: Callable[[], Delivery]) -> dict[str, int]:
    return {"reminders_sent": send().sent}


def _chunks(organisation: Organisation) -> Iterator[list[FittedUnit]]:
    with organisation_transaction(organisation):
        most = CHUNK_WITH_READINGS if plans_count_usage(organisation) else CHUNK
    done = 0
    while True:
        with organisation_transaction(organisation):
            chunk = fitted_units_in_service(organisation, after=done, most=most)
        if not chunk:
            return
        yield chunk
        done = chunk[-1].pk
