"""What qualifies a verdict in its headline: the stages it is about, and a meter without a valid calibration."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dashboard.drawings.verdict import WORDS
from inspections.models import Inspection
from inspections.sentences import CALIBRATION_FAULTS


def headline_of(check: Inspection, result: Mapping[str, Any], stages: int) -> dict[str, str]:
    """Return what follows the verdict's word, and the sentence about meters without a valid calibration."""
    scope = _not_identified(result) + _scope(result, stages)
    calibration = _calibration(check, result)
    word = WORDS[result["verdict"]]
    return {"scope": scope, "calibration": f"{word}, {calibration}." if calibration else ""}


def _scope(result: Mapping[str, Any], stages: int) -> str:
    read = sorted({each["stage"] for each in result["stages"]})
    if not read or len(read) == stages:
        return ""
    words = {"read": ", ".join(map(str, read)), "count": len(read), "stages": stages}
    named = (
        ngettext(
            "stage %(read)s only (%(count)d of %(stages)s stages read)",
            "stages %(read)s only (%(count)d of %(stages)s stages read)",
            len(read),
        )
        % words
    )
    return f", {named}"


def _not_identified(result: Mapping[str, Any]) -> str:
    reasons = {each["code"] for each in result["verdict_reasons"]}
    without_verdict = result["verdict"] == "undetermined" and "type_not_identified" in reasons
    return _(": type not identified") if without_verdict else ""


def _calibration(check: Inspection, result: Mapping[str, Any]) -> str:
    faults = {
        each["params"]["meter"]: CALIBRATION_FAULTS[each["params"]["fault"]]
        for each in result["findings"]
        if each["code"] == "calibration_not_valid"
    }
    if not faults:
        return ""
    meters = {"ammeter": check.ammeter, "voltmeter": check.voltmeter}
    named = "; ".join(
        _("%(meter)s: %(fault)s") % {"meter": meters[kind], "fault": fault} for kind, fault in faults.items()
    )
    sentences = {
        "ammeter": _("by a clamp without a valid calibration on the day (%(named)s)"),
        "voltmeter": _("by a voltmeter without a valid calibration on the day (%(named)s)"),
        "both": _("by a clamp and a voltmeter without a valid calibration on the day (%(named)s)"),
    }
    return sentences[next(iter(faults)) if len(faults) == 1 else "both"] % {"named": named}
