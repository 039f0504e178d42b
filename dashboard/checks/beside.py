"""What was looked at beside the amps on the way through a check, a line each for looking it over."""

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from calc.apart.surveys import item_state
from dashboard.checks.apart_forms import BATTERY_WORDS
from dashboard.checks.drafts import Draft
from inspections.evidence_apart import survey_item

BESIDE_WORDS = {
    "battery": gettext_lazy("Battery and charging"),
    "control": gettext_lazy("Control check"),
    "mechanical": gettext_lazy("Mechanical survey"),
}
BESIDE_STEPS = list(BESIDE_WORDS)


def beside_the_amps(draft: Draft) -> list[dict[str, Any]]:
    """Return each optional step with what was kept of it; nothing kept is not checked."""
    kept = {
        "battery": draft.get("battery"),
        "control": draft.get("control_check"),
        "mechanical": draft.get("mechanical_survey"),
    }
    return [
        {"step": step, "word": word, "looked_at": bool(kept[step]), "told": _told(step, kept[step])}
        for step, word in BESIDE_WORDS.items()
    ]


def _told(step: str, kept: Any) -> str:
    if not kept:
        return ""
    if step == "battery":
        read = len(BATTERY_WORDS.keys() & kept.keys())
        return ngettext("%(n)s reading", "%(n)s readings", read) % {"n": read}
    return _counted(kept.values() if step == "control" else (item_state(survey_item(item)) for item in kept))


def _counted(states: Iterable[str]) -> str:
    found = list(states)
    values = {state: found.count(state) for state in ("good", "bad", "not_checked")}
    return _("%(good)s good, %(bad)s bad, %(not_checked)s not checked") % values
