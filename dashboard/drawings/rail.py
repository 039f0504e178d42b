"""The due rail: from the last check to the due date, with today on it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calc.due import LimbDue, local_date
from dashboard.drawings.axis import Axis, Span, span
from schedules.models import LIMBS, DueDate

LIMB_WORDS: dict[str, "str | Promise"] = dict(LIMBS)


@dataclass(frozen=True, slots=True)
class LimbTick:
    """One limb of the plan on the rail."""

    word: str
    on: dt.date
    at: float
    predicted: bool
    earliest: bool


@dataclass(frozen=True, slots=True)
class Rail:
    """What is drawn, in percent of the width."""

    start_on: dt.date
    due_on: dt.date
    run: Span
    lead: Span
    today: float
    ticks: tuple[LimbTick, ...]


def due_sentence(due: DueDate | None, today: dt.date) -> str:
    """Return when the next check is due, in words: "Due in 23 days, by km"."""
    if due is None or due.state == "no_plan":
        return _("No check plan.")
    if due.due_on is None:
        return _("When it is due cannot be told yet: no check, no fitting date, no counter to count from.")
    limb = str(LIMB_WORDS[due.limb or ""])
    days = (due.due_on - today).days
    if days < 0:
        return ngettext("Overdue by %(days)d day, by %(limb)s.", "Overdue by %(days)d days, by %(limb)s.", -days) % {
            "days": -days,
            "limb": limb,
        }
    if days == 0:
        return _("Due today, by %(limb)s.") % {"limb": limb}
    return ngettext("Due in %(days)d day, by %(limb)s.", "Due in %(days)d days, by %(limb)s.", days) % {
        "days": days,
        "limb": limb,
    }


def today_of(due: DueDate, now: dt.datetime) -> dt.date:
    """Return the local date at the depot."""
    return local_date(now, due.depot.time_zone)


def due_rail_of(
    due: DueDate, today: dt.date, *, limbs: Iterable[LimbDue] = (), fitted_on: dt.date | None = None
) -> Rail | None:
    """Return the rail, or None where there is nothing to count from or to."""
    start_on = due.last_check_on or fitted_on
    if due.due_on is None or start_on is None:
        return None
    known = [limb for limb in limbs if limb.due_on is not None]
    by_plan = any(limb.limb == due.limb for limb in known)
    days = [start_on, due.due_on, today, *(limb.due_on for limb in known if limb.due_on)]
    axis = Axis(min(days).toordinal(), max(max(days).toordinal(), min(days).toordinal() + 1))
    lead_days = due.plan.lead_days if due.plan else 0
    notice_on = max(start_on, due.due_on - dt.timedelta(days=lead_days))
    return Rail(
        start_on=start_on,
        due_on=due.due_on,
        run=span(axis, start_on.toordinal(), due.due_on.toordinal()),
        lead=span(axis, notice_on.toordinal(), due.due_on.toordinal()),
        today=axis.place(today.toordinal()),
        ticks=(
            *(() if by_plan else (_due_tick(due, axis),)),
            *(_tick(limb, limb.due_on, axis, due) for limb in known if limb.due_on),
        ),
    )


def _tick(limb: LimbDue, on: dt.date, axis: Axis, due: DueDate) -> LimbTick:
    return LimbTick(str(LIMB_WORDS[limb.limb]), on, axis.place(on.toordinal()), limb.predicted, limb.limb == due.limb)


def _due_tick(due: DueDate, axis: Axis) -> LimbTick:
    """Return the stored date's own tick: no limb of the plan may have made it, but the trend."""
    on = due.sorts_on
    predicted = due.limb in ("km", "hours") and due.state not in ("due", "overdue")
    return LimbTick(str(LIMB_WORDS[due.limb or ""]), on, axis.place(on.toordinal()), predicted, earliest=True)
