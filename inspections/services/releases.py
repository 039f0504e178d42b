"""Write down that a release decision has run out, once, and tell those who decide anew."""

import datetime as dt
from collections.abc import Sequence

from django.core.mail import EmailMessage
from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import system_actor
from accounts.audit import Deed, write_audit
from accounts.models import Member, Organisation
from accounts.outbox import Delivery, send_owed
from accounts.rows import changed
from accounts.tracking import content
from inspections.models import Defect, DefectStep, ReleaseNotice
from inspections.releases import has_run_out, open_releases
from schedules.queries import people_to_tell


@transaction.atomic
def end_releases(organisation: Organisation, *, as_of: dt.datetime) -> int:
    """Note every open defect whose release decision has run out and was not noted yet, and return how many."""
    tomorrow = as_of.date() + dt.timedelta(days=1)
    candidates = open_releases(organisation).filter(release_ended_at__isnull=True, release_until__lt=tomorrow)
    locked = candidates.select_for_update(no_key=True, of=("self",)).order_by("pk")
    ended = [defect for defect in locked if has_run_out(defect, now=as_of)]
    if not ended:
        return 0
    actor = system_actor(organisation, source="night")
    write_audit(actor, [deed for defect in ended for deed in _ended(defect, as_of)])
    people = list(people_to_tell(organisation, as_of.date()).select_related("user"))
    owed = [_notice(organisation, defect, person, as_of) for defect in ended for person in people]
    ReleaseNotice.objects.bulk_create(owed, ignore_conflicts=True)
    return len(ended)


def send_release_notices() -> Delivery:
    """Send what is owed, organisation by organisation, outside any transaction."""
    rows = ReleaseNotice.objects.select_related("defect__installation__vehicle__depot", "person__user")
    return send_owed(rows, _mail)


def _ended(defect: Defect, as_of: dt.datetime) -> Sequence[Deed]:
    deeds = changed(defect, {"release_ended_at": as_of}, action="release_ended")
    step = DefectStep.objects.create(
        organisation_id=defect.organisation_id,
        defect=defect,
        kind="release_ended",
        at=as_of,
        details={"decision": defect.release_decision, "until": str(defect.release_until)},
    )
    return [Deed("take", step, after=content(step)), *deeds]


def _notice(organisation: Organisation, defect: Defect, person: Member, as_of: dt.datetime) -> ReleaseNotice:
    if defect.release_until is None:
        raise TypeError("only a decision with an end runs out")
    held = "demo" if organisation.is_demo else "" if person.user.email else "no_address"
    return ReleaseNotice(
        organisation=organisation,
        defect=defect,
        release_until=defect.release_until,
        person=person,
        queued_at=as_of,
        held=held,
    )


def _mail(notice: ReleaseNotice) -> EmailMessage:
    vehicle = notice.defect.installation.vehicle
    names = {"vehicle": vehicle.fleet_number, "until": notice.release_until.isoformat(), "depot": vehicle.depot.name}
    subject = _("%(vehicle)s: release decision ran out on %(until)s") % names
    body = [
        _("Vehicle %(vehicle)s, %(depot)s: whether it may run with an open defect was decided until %(until)s.")
        % names,
        _("Decide anew, on the page of the defect."),
    ]
    return EmailMessage(
        # A line break in a vehicle's name starts no header of its own.
        subject=" ".join(subject.split()),
        body="\n".join(body),
        to=[notice.person.user.email],
        headers={"Message-ID": f"<{notice.uuid}@coilbook>"},
    )
