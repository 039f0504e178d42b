"""What was measured and judged, asked for."""

import datetime as dt
from collections.abc import Iterable
from uuid import UUID

from django.db.models import BigIntegerField, DateTimeField, Max, Q, QuerySet, UUIDField

from accounts.models import Organisation
from accounts.prepared import Many, One, Prepared, attach_many
from fleet.models import Installation, RatingRevision
from inspections.models import Calibration, Inspection, Judgement, Meter, Trend
from schedules.services.due_dates import CompletedCheck, LastChecks

INSIDE_LIMITS = ["pass", "conditional_pass"]


def counting_checks() -> QuerySet[Inspection]:
    """Return the signed checks inside limits that nothing has replaced: those that move a due date."""
    return Inspection.objects.filter(signed_at__isnull=False, superseded_by__isnull=True, verdict__in=INSIDE_LIMITS)


_NEWEST_CHECKS = Prepared(
    lambda ids: (
        counting_checks()
        .filter(installation__in=ids)
        .values("installation_id")
        .annotate(inside=Max("performed_at"), certain=Max("performed_at", filter=Q(verdict="pass")))
    ),
    Many(BigIntegerField()),
)
_CHECKS_AT = Prepared(
    lambda ids, instants: (
        counting_checks()
        .filter(installation__in=ids, performed_at__in=instants)
        .order_by("pk")
        .values_list("installation_id", "performed_at", "uuid", "performed_on", "verdict")
    ),
    Many(BigIntegerField()),
    Many(DateTimeField()),
)
_TREND_CHECKS = Prepared(
    lambda ids: Trend.objects.filter(installation__in=ids, next_check_on__isnull=False).values_list(
        "installation", "next_check_on"
    ),
    Many(BigIntegerField()),
)


def last_checks(installation_ids: Iterable[int]) -> dict[int, LastChecks]:
    """Return each installation's newest check inside limits, its newest certain one, and what its trend asks for."""
    ids = list(installation_ids)
    newest = {row["installation_id"]: (row["inside"], row["certain"]) for row in _NEWEST_CHECKS(ids)}
    instants = {at for pair in newest.values() for at in pair if at is not None}
    checks: dict[tuple[int, dt.datetime, bool], CompletedCheck] = {}
    for pk, at, uuid, on, verdict in _CHECKS_AT(ids, instants):
        checks[pk, at, False] = CompletedCheck(uuid, on)
        if verdict == "pass":
            checks[pk, at, True] = CompletedCheck(uuid, on)
    asked_for = dict(_TREND_CHECKS(ids))
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


_RATINGS = Prepared(
    lambda types: RatingRevision.objects.filter(retarder_type__in=types).order_by("number"), Many(BigIntegerField())
)
_INSTALLATIONS = Prepared(
    lambda organisation, ids: (
        Installation.objects.of(organisation)
        .filter(uuid__in=ids)
        .select_related("vehicle__depot", "retarder__retarder_type", "relay_box_type")
    ),
    One(BigIntegerField()),
    Many(UUIDField()),
)
_METERS = Prepared(
    lambda organisation, ids: Meter.objects.of(organisation).filter(uuid__in=ids),
    One(BigIntegerField()),
    Many(UUIDField()),
)
_CALIBRATIONS = Prepared(lambda meters: Calibration.objects.filter(meter__in=meters), Many(BigIntegerField()))


def newest_ratings(retarder_type_ids: Iterable[int]) -> dict[int, RatingRevision]:
    """Return the newest rating revision of each type."""
    return {revision.retarder_type_id: revision for revision in _RATINGS(set(retarder_type_ids))}


def installation_by_id(organisation: Organisation, installation: UUID) -> Installation | None:
    """Return one installation with everything a judgement and a due date need."""
    return installations_by_id(organisation, [installation]).get(installation)


def installations_by_id(organisation: Organisation, installations: Iterable[UUID]) -> dict[UUID, Installation]:
    """Return the organisation's installations among the ids, with everything a judgement and a due date need."""
    return {row.uuid: row for row in _INSTALLATIONS(organisation.pk, set(installations))}


def meters_by_id(organisation: Organisation, meters: Iterable[UUID]) -> dict[UUID, Meter]:
    """Return the organisation's meters among the ids, with their calibrations."""
    rows = _METERS(organisation.pk, set(meters))
    attach_many(rows, "calibrations", _CALIBRATIONS([meter.pk for meter in rows]), key="meter_id")
    return {meter.uuid: meter for meter in rows}


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


def inspections_to_sign(organisation: Organisation) -> QuerySet[Inspection]:
    """Return the inspections that were stored unsigned, wait for somebody who may sign, and were not replaced."""
    return inspections_with_names(organisation).filter(signed_at__isnull=True, superseded_by__isnull=True)


def inspections_with_names(organisation: Organisation) -> QuerySet[Inspection]:
    """Return inspections with what a row shows beside the evidence."""
    return Inspection.objects.of(organisation).select_related(
        "installation__vehicle", "depot", "recorded_by", "signed_by", "superseded_by"
    )
