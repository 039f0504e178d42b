"""Release decisions as they stand: what is undecided or has run out, and what a unit's state is called by them."""

import datetime as dt
from typing import Any

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Value, When

from accounts.models import Organisation
from calc.due import local_date
from fleet.models import Installation
from inspections.models import Defect

# What a list has to say of a unit, the strictest first.
STRICTEST_FIRST = ["off_the_road", "isolated", "route_restricted"]
MOST_SHOWN = 10


def open_releases(organisation: Organisation) -> QuerySet[Defect]:
    """Return the open defects of fitted units in service, with what is needed to say whether they may run."""
    rows = Defect.objects.of(organisation).filter(
        closed_at__isnull=True, installation__removed_on__isnull=True, installation__vehicle__in_service=True
    )
    return rows.select_related("installation__vehicle__depot")


def releases_to_decide(organisation: Organisation, *, now: dt.datetime) -> list[Defect]:
    """Return the first open defects that nobody has decided about, or whose decision has run out; oldest end first."""
    # Somewhere on earth it is a day later already; the depot's own date decides.
    tomorrow = now.date() + dt.timedelta(days=1)
    wanted = open_releases(organisation).filter(Q(release_decision="") | Q(release_until__lt=tomorrow))
    rows = wanted.order_by(F("release_until").asc(nulls_last=True), "opened_at", "pk")
    return [defect for defect in rows[: 2 * MOST_SHOWN] if needs_decision(defect, now=now)][:MOST_SHOWN]


def needs_decision(defect: Defect, *, now: dt.datetime) -> bool:
    """Tell whether an open defect stands without a release decision, or with one that has run out."""
    if defect.closed_at is not None:
        return False
    return not defect.release_decision or has_run_out(defect, now=now)


def has_run_out(defect: Defect, *, now: dt.datetime) -> bool:
    """Tell whether the decision's last day is over at the depot."""
    today = local_date(now, defect.installation.vehicle.depot.time_zone)
    return defect.release_until is not None and defect.release_until < today


def with_release(rows: QuerySet[Any]) -> QuerySet[Any]:
    """Add to rows of installations the strictest release decision of their open defects, and until when it holds."""
    strictness = Case(
        *(When(release_decision=code, then=Value(place)) for place, code in enumerate(STRICTEST_FIRST)),
        output_field=IntegerField(),
    )
    decided = Defect.objects.filter(
        installation=OuterRef("installation"), closed_at__isnull=True, release_decision__in=STRICTEST_FIRST
    ).order_by(strictness, "-release_until", "pk")
    annotated: QuerySet[Any] = rows.annotate(
        release_decision=Subquery(decided.values("release_decision")[:1]),
        release_until=Subquery(decided.values("release_until")[:1]),
    )
    return annotated


def removed_units(organisation: Organisation) -> list[Installation]:
    """Return the last units that were taken out of a vehicle and are in none now."""
    rows = Installation.objects.of(organisation).filter(removed_on__isnull=False)
    fitted = Installation.objects.filter(retarder=OuterRef("retarder"), removed_on__isnull=True)
    later = Installation.objects.filter(retarder=OuterRef("retarder"), removed_on__gt=OuterRef("removed_on"))
    resting = rows.exclude(Exists(fitted)).exclude(Exists(later)).select_related("vehicle", "retarder__retarder_type")
    return list(resting.order_by("-removed_on", "-pk")[:MOST_SHOWN])
