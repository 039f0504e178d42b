"""The one line of a verdict that says what to do next, and the parts of a unit that are judged apart from the amps."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _

ACTIONS = {
    "good": _("Good: nothing to do by these readings."),
    "read_again_cold": _("Read again cold."),
    "better_clamp": _("Read again with a better clamp."),
    "better_voltmeter": _("Read again with a better voltmeter."),
    "read_again": _("Read again, each stage several times."),
    "find_the_fault": _("Stop and find the fault."),
    "read_the_rest": _("Read the stages that are missing."),
    "ask_for_the_rating": _("Ask the manager for the voltage and tolerance the rating holds at."),
    "identify_the_type": _("Find out the type: until then nothing says whether the amps are right."),
    "no_absolute_verdict": _("Compare with earlier checks: this drive's amps are not judged against limits."),
    "check_the_meters": _("Check the meters, their range and their leads, and read again."),
}
PARTS = {
    "supply": _("Supply under load"),
    "charging": _("Battery and charging"),
    "rest_current": _("Current with everything off"),
    "upstream_resistance": _("Cables before the box"),
    "shared_ground": _("Shared ground"),
    "outputs": _("Which input switches which output"),
    "lamps": _("Lamps"),
    "control": _("Control check"),
    "mechanical": _("Mechanical survey"),
}
STATES = {"good": _("good"), "bad": _("bad"), "not_checked": _("not checked")}


def parts_of(result: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return each part judged apart from the amps with its state; what was not checked is named as such."""
    found = result.get("apart") or {}
    states = ((code, word, found.get(code, "not_checked")) for code, word in PARTS.items())
    return [{"part": word, "code": code, "state": state, "word": STATES[state]} for code, word, state in states]
