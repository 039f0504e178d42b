"""What an auditor asks for first: the checks and decisions of a period that are not the usual case."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import F, Q, QuerySet

from accounts.models import AuditEntry, Depot, Organisation
from fleet.models import RatingRevision
from inspections.models import Defect, Inspection, Judgement

LATE_AFTER = dt.timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class Period:
    """The days from `since` to `until`, both included, of one organisation and, where named, one depot."""

    organisation: Organisation
    since: dt.date
    until: dt.date
    depot: Depot | None = None

    def holds(self, column: str) -> Q:
        """Return that an instant lies in the days, counted in UTC."""
        begin = dt.datetime.combine(self.since, dt.time(), dt.UTC)
        end = dt.datetime.combine(self.until, dt.time.max, dt.UTC)
        return Q(**{f"{column}__gte": begin, f"{column}__lte": end})

    def at_depot(self, column: str) -> Q:
        """Return that a depot is the one named, any where none is."""
        return Q() if self.depot is None else Q(**{column: self.depot})


def replaced(period: Period) -> QuerySet[Inspection]:
    """Return the checks that a later one replaced in the period."""
    return _checks(period).filter(period.holds("superseded_by__signed_at"))


def judged_anew(period: Period) -> QuerySet[Judgement]:
    """Return the judgements given in the period that were not the first of their check."""
    rows = Judgement.objects.of(period.organisation).filter(
        period.holds("judged_at"), period.at_depot("inspection__depot"), number__gt=1
    )
    return rows.select_related("judged_by", "inspection__installation__vehicle", "inspection__depot")


def received_late(period: Period) -> QuerySet[Inspection]:
    """Return the checks of the period that reached the book more than a day after they were read."""
    return _performed(period).filter(received_at__gt=F("performed_at") + LATE_AFTER)


def clock_flagged(period: Period) -> QuerySet[Inspection]:
    """Return the checks that were dated after the moment they were stored."""
    return _performed(period).filter(clock_ahead=True)


def meter_out_of_date(period: Period) -> QuerySet[Inspection]:
    """Return the checks read with a meter that had no valid calibration on the day."""
    return _performed(period).filter(evidence__has_key="calibration_faults").exclude(evidence__calibration_faults=[])


def without_a_verdict(period: Period) -> QuerySet[Inspection]:
    """Return the checks whose standing judgement gives no verdict, and that nothing has replaced."""
    return _performed(period).filter(verdict="undetermined", superseded_by__isnull=True)


def limits_changed(period: Period) -> QuerySet[AuditEntry]:
    """Return the entries that tell of another rating, other limits, or another rule for verdicts to come.

    A depot narrows to the ratings of what is fitted there; the organisation's own limits and rule hold at every depot.
    """
    ratings = RatingRevision.objects.filter(organisation=period.organisation, number__gt=1)
    if period.depot is not None:
        fitted = Q(retarder_type__retarders__installations__vehicle__depot=period.depot)
        ratings = ratings.filter(fitted)
    changes = (
        Q(object_type="rating_revision", object_id__in=ratings.values("uuid"))
        | Q(object_type="limits_revision")
        | Q(object_type="organisation", action="set_rule")
    )
    entries = AuditEntry.objects.filter(changes, period.holds("at"), organisation=period.organisation)
    return entries.select_related("actor", "on_behalf_of")


def repair_unnecessary(period: Period) -> QuerySet[Defect]:
    """Return the defects that were closed without a repair, on somebody's word."""
    rows = Defect.objects.of(period.organisation).filter(
        period.holds("closed_at"), period.at_depot("installation__vehicle__depot"), state="repair_unnecessary"
    )
    return rows.select_related("installation__vehicle__depot")


def _checks(period: Period) -> QuerySet[Inspection]:
    rows = Inspection.objects.of(period.organisation).filter(period.at_depot("depot"))
    along = ("installation__vehicle", "depot", "recorded_by", "ammeter", "voltmeter", "superseded_by__signed_by")
    return rows.select_related(*along)


def _performed(period: Period) -> QuerySet[Inspection]:
    return _checks(period).filter(period.holds("performed_at"))


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of exception: its rows, and the order that ends with a unique column, newest first."""

    rows: Callable[[Period], QuerySet[Any]]
    order: tuple[str, ...]


BY_TIME = ("-performed_at", "-pk")
EXCEPTIONS = {
    "replaced": Kind(replaced, BY_TIME),
    "judged_anew": Kind(judged_anew, ("-judged_at", "-pk")),
    "received_late": Kind(received_late, BY_TIME),
    "clock_flagged": Kind(clock_flagged, BY_TIME),
    "meter_out_of_date": Kind(meter_out_of_date, BY_TIME),
    "limits_changed": Kind(limits_changed, ("-sequence",)),
    "without_a_verdict": Kind(without_a_verdict, BY_TIME),
    "repair_unnecessary": Kind(repair_unnecessary, ("-closed_at", "-pk")),
}
