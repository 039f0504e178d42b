"""Calibrations: what a certificate says of a meter as it came and as it left, and what that throws doubt on."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Conflict, Fault, Refused
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from calc.evidence import Meter as MeterFigures
from calc.instruments import is_within_accuracy
from inspections.calibrations import points_of
from inspections.documents import content_hash
from inspections.evidence import meter_document, meter_of
from inspections.models import Calibration, Inspection, Meter
from inspections.services.trend_news import note_news

Points = Sequence[Mapping[str, Any]]


@transaction.atomic
def record_calibration(
    actor: Actor, meter: Meter, *, performed_on: dt.date, due_on: dt.date | None = None, **columns: Any
) -> Calibration:
    """Keep a calibration, and from the newest one the date the next is due; the same id and content again adds none.

    What nobody states follows from the points: found in tolerance where every point as found lies within the meter's
    accuracy; passed, and so good for what is read from now on, where every point as left does.
    """
    actor.require(Ability.MANAGE)
    digest = content_hash({"meter": meter.uuid, "performed_on": performed_on, "due_on": due_on, **columns})
    if known := _stored(actor, columns.get("uuid"), digest):
        return known
    meter = Meter.objects.select_for_update(no_key=True).get(pk=meter.pk)
    row = Calibration(
        organisation=actor.organisation,
        meter=meter,
        performed_on=performed_on,
        due_on=due_on,
        content_hash=digest,
        recorded_by=actor.user,
        **columns | _outcome(meter_of(meter_document(meter)), columns),
    )
    store_row(actor, row)
    note_news(actor.organisation.pk, _read_since(row))
    newest = Calibration.objects.filter(meter=meter).latest("performed_on")
    change_row(actor, meter, {"calibration_due_on": newest.due_on}, action="calibrate")
    return row


def _read_since(calibration: Calibration) -> QuerySet[Inspection, int]:
    """Return the units read with a clamp since its calibration: where that is entered late, their trends change.

    A clamp counts as another meter from each calibration on; of a voltmeter no trend takes notice.
    """
    rows = Inspection.objects.filter(ammeter=calibration.meter_id, performed_on__gte=calibration.performed_on)
    return rows.values_list("installation__retarder", flat=True).distinct()


def _stored(actor: Actor, uuid: Any, digest: str) -> Calibration | None:
    known = None if uuid is None else Calibration.objects.of(actor.organisation).filter(uuid=uuid).first()
    if known is not None and known.content_hash != digest:
        raise Conflict(_("The calibration %(id)s is stored with other content.") % {"id": uuid})
    return known


def _outcome(figures: MeterFigures, columns: Mapping[str, Any]) -> dict[str, Any]:
    as_found, as_left = (_stored_points(columns.get(name)) for name in ("as_found", "as_left"))
    came = is_within_accuracy(figures, points_of(as_found))
    left = is_within_accuracy(figures, points_of(as_left))
    said_found, said_passed = columns.get("found_in_tolerance"), columns.get("passed")
    faults = [
        *_contradictions("found_in_tolerance", said_found, came),
        *_contradictions("passed", said_passed, left),
    ]
    if faults:
        raise Refused(*faults)
    passed = _first(said_passed, left, said_found, came, True)
    # Who says only that a meter failed says so of the meter as it came.
    found = _first(said_found, came, passed)
    return {"as_found": as_found, "as_left": as_left, "passed": passed, "found_in_tolerance": found}


def _contradictions(name: str, said: bool | None, by_points: bool | None) -> list[Fault]:
    if said is None or by_points is None or said == by_points:
        return []
    words = {
        ("found_in_tolerance", False): _("A value as found lies outside the accuracy that is on file."),
        ("found_in_tolerance", True): _("Every value as found lies within the accuracy that is on file."),
        ("passed", False): _("A value as left lies outside the accuracy that is on file."),
        ("passed", True): _("Every value as left lies within the accuracy that is on file."),
    }
    return [Fault((name,), "contradicted", words[name, by_points])]


def _first(*answers: bool | None) -> bool:
    return next(answer for answer in answers if answer is not None)


def _stored_points(points: Points | None) -> list[dict[str, str]] | None:
    if not points:
        return None
    return [{key: str(point[key]) for key in ("applied", "shown")} for point in points]
