"""What was measured and judged, asked for."""

import datetime as dt
from collections.abc import Iterable
from uuid import UUID

from django.db.models import Max, Q, QuerySet

from accounts.models import Organisation
from fleet.models import Installation, RatingRevision
from inspections.models import Inspection, Judgement, Meter, Trend
from schedules.services.due_dates import CompletedCheck, LastChecks

INSIDE_LIMITS = ["pass", "conditional_pass"]


def counting_checks() -> QuerySet[Inspection]:
    """Return the signed checks inside limits that nothing has replaced: those that move a due date."""
    return Inspection.objects.filter(signed_at__isnull=False, superseded_by__isnull=True, verdict__in=INSIDE_LIMITS)


def last_checks(installation_ids: Iterable[int]) -> dict[int, LastChecks]:
    """Return each installation's newest check inside limits, its newest certain one, and what its trend asks for."""
    ids = list(installation_ids)
    newest = {
        row["installation_id"]: (row["inside"], row["certain"])
        for row in counting_checks()
        .filter(installation__in=ids)
        .values("installation_id")
        .annotate(inside=Max("performed_at"), certain=Max("performed_at", filter=Q(verdict="pass")))
    }
    instants = {at for pair in newest.values() for at in pair if at is not None}
    checks: dict[tuple[int, dt.datetime, bool], CompletedCheck] = {}
    rows = counting_checks().filter(installation__in=ids, performed_at__in=instants).order_by("pk")
    for pk, at, uuid, on, verdict in rows.values_list(
        "installation_id", "performed_at", "uuid", "performed_on", "verdict"
    ):
        checks[pk, at, False] = CompletedCheck(uuid, on)
        if verdict == "pass":
            checks[pk, at, True] = CompletedCheck(uuid, on)
    asked_for = dict(
        Trend.objects.filter(installation__in=ids, next_check_on__isnull=False).values_list(
            "installation", "next_check_on"
        )
    )
    found = {}
    for pk in newest.keys() | asked_for.keys():
        inside, certain = newest.get(pk, (None, None))
        found[pk] = LastChecks(
            checks.get((pk, inside, False)) if inside else None,
            checks.get((pk, certain, True)) if certain else None,
            asked_for.get(pk),
        )
    return found


def rating_on_file(installation: Installation) -> RatingRevision:
    """Return the newest rating revision of the unit's type."""
    return RatingRevision.objects.filter(retarder_type=installation.retarder.retarder_type_id).latest("number")


def newest_ratings(retarder_type_ids: Iterable[int]) -> dict[int, RatingRevision]:
    """Return the newest rating revision of each type."""
    revisions = RatingRevision.objects.filter(retarder_type__in=set(retarder_type_ids)).order_by("number")
    return {revision.retarder_type_id: revision for revision in revisions}


def installation_by_id(organisation: Organisation, installation: UUID) -> Installation | None:
    """Return one installation with everything a judgement and a due date need."""
    return (
        Installation.objects.of(organisation)
        .filter(uuid=installation)
        .select_related("vehicle__depot", "retarder__retarder_type", "relay_box_type")
        .first()
    )


def meters_by_id(organisation: Organisation, meters: Iterable[UUID]) -> dict[UUID, Meter]:
    """Return the organisation's meters among the ids."""
    return {meter.uuid: meter for meter in Meter.objects.of(organisation).filter(uuid__in=set(meters))}


def first_judgement(inspection: Inspection) -> Judgement:
    """Return the judgement given when the inspection was stored."""
    return Judgement.objects.select_related("rating_revision").get(inspection=inspection, number=1)


def levels_over_time(installation: Installation) -> QuerySet[Inspection]:
    """Return the unit's checks that nothing has replaced, oldest first; its history follows it between vehicles."""
    return Inspection.objects.filter(
        organisation=installation.organisation_id,
        installation__retarder=installation.retarder_id,
        superseded_by__isnull=True,
    ).order_by("performed_at", "pk")


def inspections_with_names(organisation: Organisation) -> QuerySet[Inspection]:
    """Return inspections with what a row shows beside the evidence."""
    return Inspection.objects.of(organisation).select_related(
        "installation__vehicle", "depot", "recorded_by", "signed_by", "superseded_by"
    )
