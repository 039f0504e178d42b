"""The pages of the menu, and what belongs under each."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from accounts.roles import Ability


@dataclass(frozen=True, slots=True)
class Page:
    """One page of the menu; `under` are the pages during which it stays marked, `ability` is what it needs."""

    name: str
    word: "str | Promise"
    under: tuple[str, ...] = ()
    told: "str | Promise" = ""
    ability: Ability = Ability.READ


DESK = (
    Page("today", _("Today"), ("units",)),
    Page("vehicles", _("Vehicles"), ("vehicle", "driver-label", "find")),
    Page("checks", _("Checks"), ("result", "working", "record", "find-part")),
    Page("defects", _("Defects"), ("defect", "cab-notice")),
    Page("due", _("Due"), ("settle-due",)),
    Page(
        "more",
        _("More"),
        (
            "declines",
            "told",
            "meters",
            "meter",
            "meter-accuracy",
            "compare-meters",
            "new-meter",
            "calibration",
            "rules",
            "rules-lists",
            "ratings",
            "survey-limits",
            "people",
            "invite",
            "person",
            "removed",
            "replace-name",
            "book",
            "tokens",
            "make-token",
            "to-sign",
            "night",
            "history",
            "object-history",
            "exceptions",
            "record-check",
            "rejudgings",
            "rejudging",
        ),
    ),
)
PHONE = (Page("check", _("Check")), Page("find", _("Find"), ("vehicle",)))
MORE = (
    Page("declines", _("Losing current"), told=_("units whose current falls from check to check")),
    Page("told", _("Told"), told=_("reminders: who, of what, when, delivered, seen")),
    Page("meters", _("Test meters"), told=_("clamps and voltmeters with their calibrations")),
    Page("rules", _("Rules and limits"), told=_("decision rule, bounds and limits, what is looked at")),
    Page("ratings", _("Ratings on file"), told=_("rated amps of each type, with the source of every figure")),
    Page(
        "rejudgings",
        _("Judge anew"),
        told=_("checks held against another rating, tolerance or rule"),
        ability=Ability.MANAGE,
    ),
    Page("people", _("People"), told=_("who belongs to this book, and what each may do")),
    Page("book", _("Name and address"), told=_("as printed records say who made the check")),
    Page("to-sign", _("To sign"), told=_("checks stored without a signature, waiting for somebody who may sign")),
    Page("tokens", _("Tokens"), told=_("keys by which other programs read and write here")),
    Page("exceptions", _("Exceptions"), told=_("replaced, judged anew, late, no verdict: what was not the usual case")),
    Page("history", _("History"), told=_("who did what, when, and what it was before")),
    Page(
        "record-check",
        _("Check the record"),
        told=_("whether anything was changed past this service"),
        ability=Ability.MANAGE,
    ),
    Page("night", _("Night work"), told=_("when the book was last gone through, and what was done")),
)
