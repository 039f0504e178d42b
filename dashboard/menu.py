"""The pages of the menu, and what belongs under each."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True, slots=True)
class Page:
    """One page of the menu; `under` are the pages during which it stays marked."""

    name: str
    word: "str | Promise"
    under: tuple[str, ...] = ()
    told: "str | Promise" = ""


DESK = (
    Page("today", _("Today"), ("units",)),
    Page("vehicles", _("Vehicles"), ("vehicle", "find")),
    Page("checks", _("Checks"), ("result", "working")),
    Page("defects", _("Defects"), ("defect", "cab-notice")),
    Page("due", _("Due")),
    Page("more", _("More"), ("declines", "told", "meters", "meter", "ratings", "people", "night")),
)
PHONE = (Page("check", _("Check")), Page("find", _("Find"), ("vehicle",)))
MORE = (
    Page("declines", _("Losing current"), told=_("units whose current falls from check to check")),
    Page("told", _("Told"), told=_("reminders: who, of what, when, delivered, seen")),
    Page("meters", _("Test meters"), told=_("clamps and voltmeters with their calibrations")),
    Page("ratings", _("Ratings on file"), told=_("rated amps of each type, with the source of every figure")),
    Page("people", _("People"), told=_("who belongs to this book, and what each may do")),
    Page("night", _("Night work"), told=_("when the book was last gone through, and what was done")),
)
