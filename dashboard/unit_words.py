"""A unit's state in a sentence: "Stage 3 outside since 12 May. Check overdue 4 days."."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calc.due import local_date
from dashboard.defect_words import defect_words
from fleet.models import Installation
from inspections.models import Decline, Defect
from inspections.needs import open_defects, running_declines
from schedules.models import DueDate

DAY = "j M Y"
Row = TypeVar("Row", Defect, Decline)


@dataclass(slots=True)
class UnitState:
    """What is open about one installation."""

    installation: Installation
    due: DueDate | None
    today: dt.date
    defects: list[Defect] = field(default_factory=list)
    declines: list[Decline] = field(default_factory=list)

    @property
    def sentence(self) -> str:
        """Return what is open, worst first, and when the next check is due."""
        parts = [defect_sentence(defect) for defect in self.defects]
        parts += [decline_sentence(decline) for decline in self.declines]
        return " ".join([*parts, check_sentence(self.due, self.today)])


def unit_states(installations: Sequence[Installation], *, now: dt.datetime) -> list[UnitState]:
    """Return the state of each installation, in two queries for all; they carry vehicle, depot and due date."""
    ids = [installation.pk for installation in installations]
    defects, declines = _grouped(open_defects(ids)), _grouped(running_declines(ids))
    return [
        UnitState(
            installation,
            due_of(installation),
            local_date(now, installation.vehicle.depot.time_zone),
            defects[installation.pk],
            declines[installation.pk],
        )
        for installation in installations
    ]


def due_of(installation: Installation) -> DueDate | None:
    """Return the installation's due date; a unit just fitted has none yet."""
    return getattr(installation, "due_date", None)


def defect_sentence(defect: Defect) -> str:
    """Return what is wrong since when."""
    words = {"stage": defect.stage, "what": defect_words(defect), "on": date_format(defect.opened_at, DAY)}
    if defect.stage is None:
        return capfirst(_("%(what)s since %(on)s.") % words)
    if defect.state == "repaired":
        return _("Stage %(stage)s: %(what)s since %(on)s, repaired, not yet checked again.") % words
    return _("Stage %(stage)s %(what)s since %(on)s.") % words


def decline_sentence(decline: Decline) -> str:
    """Return what loses current since when."""
    words = {
        "where": decline_place(decline),
        "on": date_format(decline.raised_at, DAY),
    }
    if decline.rising:
        return _("Drawing more current than it did (%(where)s), seen %(on)s.") % words
    return _("Losing current (%(where)s), seen %(on)s.") % words


def decline_place(decline: Decline) -> str:
    """Return where it lies: a stage, all of them, or the test meter."""
    if decline.attribution == "stage":
        return _("stage %(stage)s") % {"stage": decline.stage}
    return str(decline.get_attribution_display())


def check_sentence(due: DueDate | None, today: dt.date) -> str:
    """Return how the next check stands."""
    if due is None or due.state == "no_plan":
        return _("No check plan.")
    if due.due_on is None:
        return _("Check due date cannot be told yet.")
    days = (due.due_on - today).days
    if days < 0:
        return ngettext("Check overdue %(days)d day.", "Check overdue %(days)d days.", -days) % {"days": -days}
    if days == 0:
        return _("Check due today.")
    return ngettext("Check due in %(days)d day.", "Check due in %(days)d days.", days) % {"days": days}


def _grouped(rows: Iterable[Row]) -> defaultdict[int, list[Row]]:
    grouped: defaultdict[int, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row.installation_id].append(row)
    return grouped
