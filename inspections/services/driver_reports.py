"""What a driver says without an account: the link in the cab, and the defect that a tap on it opens."""

import datetime as dt
from decimal import Decimal
from uuid import UUID

from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor, system_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Fault, Refused
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from accounts.tenancy import name_key, name_organisation_by_key
from accounts.tracking import content
from fleet.models import Installation, Vehicle
from inspections.models import Defect, DefectStep, DriverLink

DRIVER_CODES = ["driver_weaker", "driver_lamp", "driver_noise", "driver_other"]
MOST_REPORTS, WITHIN = 6, dt.timedelta(hours=1)
_signer = Signer(salt="driver link")


class TooManyReports(Exception):
    """One link was used more often than a driver would use it."""


@transaction.atomic
def issue_driver_link(actor: Actor, vehicle: Vehicle) -> DriverLink:
    """Make a new link for a vehicle; the one before it ends with that, and with it every label that shows it."""
    actor.require(Ability.MANAGE)
    if actor.user is None:
        raise TypeError("a link is issued by a person")
    for running in _in_force(actor, vehicle):
        _revoke(actor, running)
    fresh = DriverLink(organisation=actor.organisation, vehicle=vehicle, issued_at=timezone.now(), issued_by=actor.user)
    return store_row(actor, fresh, action="issue")


@transaction.atomic
def revoke_driver_link(actor: Actor, vehicle: Vehicle) -> None:
    """End the vehicle's link; where it has none, nothing is done."""
    actor.require(Ability.MANAGE)
    for running in _in_force(actor, vehicle):
        _revoke(actor, running)


def token_of(link: DriverLink) -> str:
    """Return the signed text that a label shows."""
    return _signer.sign(link.uuid.hex)


def link_of(token: str) -> DriverLink | None:
    """Return the link in force that a signed text names, its organisation named for the rest of the transaction."""
    try:
        uuid = UUID(_signer.unsign(token))
    except BadSignature:
        return None
    name_key(str(uuid))
    shown = DriverLink.objects.filter(uuid=uuid, revoked_at__isnull=True).first()
    if shown is None:
        return None
    name_organisation_by_key(shown.organisation_id)
    rows = DriverLink.objects.select_related("organisation", "vehicle")
    return rows.filter(pk=shown.pk, organisation__closed_at__isnull=True).first()


@transaction.atomic
def report_by_driver(
    link: DriverLink, *, report_id: UUID, code: str, words: str = "", odometer_km: Decimal | None = None
) -> Defect:
    """Open a defect from one tap, or add the report to the one that says the same; the same tap again adds nothing.

    Raises Refused where the vehicle has no retarder, and TooManyReports past a handful within an hour.
    """
    unit = _unit_of(link)
    actor = system_actor(link.organisation, source="driver link")
    known = DefectStep.objects.filter(uuid=report_id, defect__installation=unit).select_related("defect").first()
    if known is not None:
        return known.defect
    _hold_back(unit)
    defect, deeds = _opened(actor, unit, code)
    details = {"link": str(link.uuid), "words": words, "odometer_km": None if odometer_km is None else str(odometer_km)}
    step = DefectStep(
        organisation=link.organisation,
        uuid=report_id,
        defect=defect,
        kind="reported",
        at=timezone.now(),
        details={key: value for key, value in details.items() if value},
    )
    DefectStep.objects.bulk_create([step], ignore_conflicts=True)
    stored = DefectStep.objects.of(link.organisation).get(uuid=report_id)
    if stored.defect_id != defect.pk:
        raise Conflict(_("This report is stored already."))
    write_audit(actor, [*deeds, Deed("report", stored, after=content(stored))])
    return defect


def _in_force(actor: Actor, vehicle: Vehicle) -> list[DriverLink]:
    rows = DriverLink.objects.select_for_update(no_key=True).of(actor.organisation)
    return list(rows.filter(vehicle=vehicle, revoked_at__isnull=True))


def _revoke(actor: Actor, link: DriverLink) -> None:
    change_row(actor, link, {"revoked_at": timezone.now(), "revoked_by": actor.user}, action="revoke")


def _unit_of(link: DriverLink) -> Installation:
    fitted = Installation.objects.filter(vehicle=link.vehicle_id, removed_on__isnull=True)
    # Locked, so that two taps at once open one defect and count each other.
    unit = fitted.select_for_update(no_key=True).order_by("-fitted_on", "-pk").first()
    if unit is None:
        raise Refused(Fault((), "no_retarder", _("No retarder is on file for this vehicle. Tell your depot.")))
    return unit


def _hold_back(unit: Installation) -> None:
    since = timezone.now() - WITHIN
    if DefectStep.objects.filter(defect__installation=unit, kind="reported", at__gte=since).count() >= MOST_REPORTS:
        raise TooManyReports


def _opened(actor: Actor, unit: Installation, code: str) -> tuple[Defect, list[Deed]]:
    if code not in DRIVER_CODES:
        detail = _("%(value)s is no report; allowed are: %(allowed)s.")
        raise Refused(Fault(("code",), "invalid", detail % {"value": code, "allowed": ", ".join(DRIVER_CODES)}))
    running = Defect.objects.filter(installation=unit, code=code, stage__isnull=True, closed_at__isnull=True).first()
    if running is not None:
        return running, []
    made = Defect.objects.create(
        organisation=actor.organisation, installation=unit, code=code, opened_at=timezone.now()
    )
    return made, [Deed("open", made, after=content(made))]
