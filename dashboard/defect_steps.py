"""The steps of a defect's life as a page tells them."""

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inspections.models import RELEASE_DECISIONS, Defect, DefectStep
from inspections.sentences_causes import CAUSE_WORDS

DECISION_WORDS = dict(RELEASE_DECISIONS)
CLOSING = ["retest_passed", "repair_unnecessary"]


def step_sentence(step: DefectStep) -> str:
    """Return what was decided, done or said, in the words of who did it."""
    told = step.details
    if step.kind == "released":
        until = date_format(dt.date.fromisoformat(told["until"]), "j M Y")
        words = {"decision": DECISION_WORDS[told["decision"]], "until": until, "reason": told["reason"]}
        return _("%(decision)s until %(until)s: %(reason)s") % words
    if step.kind == "repaired":
        cause = told["cause"] and str(CAUSE_WORDS.get(told["cause"], told["cause"]))
        return "; ".join(filter(None, [told["done"], ", ".join(told["parts"]), cause]))
    if step.kind == "reported":
        return _reported(told)
    if step.kind == "release_ended":
        return str(DECISION_WORDS[told["decision"]])
    return str(told.get("driver") or told.get("reason") or "")


def _reported(told: Mapping[str, Any]) -> str:
    odometer = told.get("odometer_km")
    at = _("odometer %(km)s km") % {"km": odometer} if odometer else ""
    return "; ".join(filter(None, [told.get("words"), at]))


def closing_steps(defects: Iterable[Defect]) -> dict[int, DefectStep]:
    """Return the step that closed each closed defect, by the defect's key."""
    closed = [defect for defect in defects if defect.closed_at is not None]
    if not closed:
        return {}
    rows = DefectStep.objects.of(closed[0].organisation_id).filter(defect__in=closed, kind__in=CLOSING)
    steps = rows.select_related("by", "inspection")
    return {step.defect_id: step for step in steps.defer("inspection__evidence").order_by("pk")}
