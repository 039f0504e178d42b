"""Release decisions in words: what has to be decided, and what a list says of a unit that is held back."""

import datetime as dt
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from accounts.models import Organisation
from dashboard.defect_steps import DECISION_WORDS
from dashboard.defect_words import defect_title
from inspections.releases import releases_to_decide

DAY = "j M Y"


def releases_to_say(organisation: Organisation, *, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the open defects that somebody has to decide about, each with why."""
    return [
        {"defect": defect, "what": defect_title(defect), "why": _why(defect.release_decision, defect.release_until)}
        for defect in releases_to_decide(organisation, now=now)
    ]


def held_back(decision: str | None, until: dt.date | None) -> str:
    """Return what a list says of a unit beside its due state; nothing where it runs without restriction."""
    if not decision or until is None:
        return ""
    return _("%(decision)s until %(until)s") % {"decision": DECISION_WORDS[decision], "until": date_format(until, DAY)}


def _why(decision: str, until: dt.date | None) -> str:
    if until is None:
        return _("Nobody has decided whether it may run.")
    words = {"decision": DECISION_WORDS[decision], "until": date_format(until, DAY)}
    return _("The decision (%(decision)s) ran out on %(until)s.") % words
