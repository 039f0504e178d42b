"""The exceptions of a period as a page lists them: when, what, why, and the page where the evidence stands."""

import zoneinfo
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from accounts.models import Organisation
from dashboard.defect_words import defect_words
from dashboard.records.entry_rows import EntryRow, entry_rows
from inspections.models import Defect, DefectStep, Inspection, Judgement
from inspections.sentences import CALIBRATION_FAULTS

HEADINGS = {
    "replaced": gettext_lazy("Replaced by another check"),
    "judged_anew": gettext_lazy("Judged anew"),
    "received_late": gettext_lazy("Reached the book more than 24 hours after the reading"),
    "clock_flagged": gettext_lazy("Dated after the moment it was stored: the phone's clock was ahead"),
    "meter_out_of_date": gettext_lazy("Read with a test meter without a valid calibration"),
    "limits_changed": gettext_lazy("Rating, limits or rule changed"),
    "without_a_verdict": gettext_lazy("No verdict"),
    "repair_unnecessary": gettext_lazy("Defect closed as repair unnecessary"),
}


@dataclass(frozen=True, slots=True)
class ExceptionRow:
    """One line: a moment in the depot's zone, what it is about with its page, and what is out of the ordinary."""

    at: str
    about: str
    address: str | None
    told: str


def exception_rows(
    organisation: Organisation, kind: str, rows: Sequence[Any], zone: zoneinfo.ZoneInfo
) -> list[ExceptionRow]:
    """Return the rows of one kind; `zone` is for what belongs to no depot."""
    if kind == "limits_changed":
        return [_limit_row(row, zone) for row in entry_rows(organisation, rows, zone)]
    if kind == "repair_unnecessary":
        reasons = _reasons(rows)
        return [_defect_row(organisation, row, reasons) for row in rows]
    if kind == "judged_anew":
        return [_judgement_row(organisation, row) for row in rows]
    return [_check_row(organisation, row, CHECK_WORDS[kind]) for row in rows]


def _at(at: Any, zone: zoneinfo.ZoneInfo) -> str:
    return date_format(timezone.localtime(at, zone), "j M Y H:i")


def _check_row(organisation: Organisation, check: Inspection, words: Callable[[Inspection], str]) -> ExceptionRow:
    address = reverse("dashboard:result", args=[organisation.slug, check.uuid])
    vehicle = check.installation.vehicle.fleet_number
    return ExceptionRow(_at(check.performed_at, check.depot.zone), vehicle, address, words(check))


def _replaced(check: Inspection) -> str:
    new = check.superseded_by
    words = {"reason": check.superseded_reason, "name": new and new.signed_by}
    return _("%(reason)s (%(name)s)") % words


def _late(check: Inspection) -> str:
    hours = (check.received_at - check.performed_at).total_seconds() / 3600
    return _("%(hours).0f hours after the reading, by %(name)s") % {"hours": hours, "name": check.recorded_by}


def _clock(check: Inspection) -> str:
    minutes = (check.performed_at - check.received_at).total_seconds() / 60
    return _("%(minutes).1f minutes ahead, by %(name)s") % {"minutes": minutes, "name": check.recorded_by}


def _meters(check: Inspection) -> str:
    meters = {"ammeter": check.ammeter, "voltmeter": check.voltmeter}
    faults: Mapping[str, str] = dict(check.evidence.get("calibration_faults") or [])
    told = [f"{meters[kind].designation}: {CALIBRATION_FAULTS[fault]}" for kind, fault in faults.items()]
    return "; ".join(told)


def _no_verdict(check: Inspection) -> str:
    return _("read by %(name)s") % {"name": check.recorded_by}


CHECK_WORDS: dict[str, Callable[[Inspection], str]] = {
    "replaced": _replaced,
    "received_late": _late,
    "clock_flagged": _clock,
    "meter_out_of_date": _meters,
    "without_a_verdict": _no_verdict,
}


def _judgement_row(organisation: Organisation, judgement: Judgement) -> ExceptionRow:
    check = judgement.inspection
    words = {
        "verdict": judgement.get_verdict_display(),
        "reason": judgement.reason,
        "name": judgement.judged_by or _("the service itself"),
    }
    return ExceptionRow(
        _at(judgement.judged_at, check.depot.zone),
        check.installation.vehicle.fleet_number,
        reverse("dashboard:result", args=[organisation.slug, check.uuid]),
        _("%(verdict)s: %(reason)s (%(name)s)") % words,
    )


def _limit_row(row: EntryRow, zone: zoneinfo.ZoneInfo) -> ExceptionRow:
    changes = "; ".join(f"{each.what}: {each.before} → {each.after}" for each in row.changes if each.before is not None)
    told = "; ".join(part for part in (row.entry.reason, changes) if part)
    about = f"{row.kind} {row.thing.name}" if row.thing else row.kind
    return ExceptionRow(_at(row.entry.at, zone), about, None, f"{told} ({row.who})" if told else row.who)


def _reasons(defects: Sequence[Defect]) -> dict[int, DefectStep]:
    if not defects:
        return {}
    rows = DefectStep.objects.of(defects[0].organisation_id).filter(defect__in=defects, kind="repair_unnecessary")
    steps = rows.select_related("by")
    return {step.defect_id: step for step in steps.order_by("pk")}


def _defect_row(organisation: Organisation, defect: Defect, reasons: Mapping[int, DefectStep]) -> ExceptionRow:
    step = reasons.get(defect.pk)
    vehicle = defect.installation.vehicle
    words = {
        "what": defect_words(defect),
        "reason": step.details.get("reason", "") if step else "",
        "name": (step and step.by) or _("the service itself"),
    }
    return ExceptionRow(
        _at(defect.closed_at, vehicle.depot.zone),
        vehicle.fleet_number,
        reverse("dashboard:defect", args=[organisation.slug, defect.uuid]),
        _("%(what)s: %(reason)s (%(name)s)") % words,
    )
