"""The night's work: due states as of an instant, and what is owed to people.  Running it twice changes nothing."""

import datetime as dt
import logging
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import partial
from typing import Concatenate, Literal, ParamSpec

from django.utils import timezone

from accounts.models import Organisation
from accounts.outbox import Delivery
from accounts.queries import open_organisations
from accounts.repeats import forget_old_answers
from accounts.tenancy import organisation_transaction
from inspections.progress import Progress
from inspections.services.due_date_chunks import refresh_due_dates_of_all
from inspections.services.releases import end_releases, send_release_notices
from inspections.services.trends import refresh_trends
from schedules.services.outbox import send_owed_reminders
from schedules.services.reminders import queue_reminders

Step = Callable[[], dict[str, int]]
Given = ParamSpec("Given")
# The parts of a night that several workers share.
PartName = Literal["trends", "due_dates"]
# Hands a chunk of a part to other workers, by organisation and chunk; they need not come.
HandOutOfPart = Callable[[PartName, int, int], None]
TellOfPart = Callable[[PartName, Progress], None]

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


def run_night(
    *, as_of: dt.datetime, hand_out: HandOutOfPart | None = None, tell: TellOfPart | None = None
) -> NightReport:
    """Fit what has news, refresh every due date, queue what is owed and send it, organisation by organisation.

    `hand_out` offers chunks of trends and due dates to other workers, `tell` is told how far either is.  What fails is
    left to the next night and counted; it keeps nothing else from being done.
    """
    began_at = timezone.now()
    organisations = open_organisations()
    counted = dict.fromkeys((field.name for field in fields(NightReport)), 0)
    counted["organisations"] = len(organisations)
    for organisation in organisations:
        steps: list[Step] = [
            partial(_trends, organisation, hand_out, tell),
            partial(_due_dates, organisation, as_of, began_at, hand_out, tell),
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


def _trends(organisation: Organisation, hand_out: HandOutOfPart | None, tell: TellOfPart | None) -> dict[str, int]:
    report = refresh_trends(organisation, hand_out=_of("trends", hand_out), tell=_of("trends", tell))
    return {
        "trends_fitted": report.fitted,
        "declines_changed": report.declines_changed,
        "trends_failed": report.failed,
        "steps_failed": 0 if report.clamps_measured else 1,
    }


def _due_dates(
    organisation: Organisation,
    as_of: dt.datetime,
    began_at: dt.datetime,
    hand_out: HandOutOfPart | None,
    tell: TellOfPart | None,
) -> dict[str, int]:
    report = refresh_due_dates_of_all(
        organisation,
        as_of=as_of,
        began_at=began_at,
        hand_out=_of("due_dates", hand_out),
        tell=_of("due_dates", tell),
    )
    return {
        "installations": report.done + report.failed,
        "due_dates_changed": report.changed,
        "due_dates_failed": report.failed,
    }


def _of(part: PartName, told: Callable[Concatenate[PartName, Given], None] | None) -> Callable[Given, None] | None:
    return None if told is None else partial(told, part)


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
