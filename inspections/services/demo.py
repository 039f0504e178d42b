"""Load the demo fleet: an invented operator's book, its visits recorded through the same service as real ones."""

import dataclasses
import datetime as dt
import json
from collections.abc import Mapping, Sequence
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor, member_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict
from accounts.identity import new_id
from accounts.models import Member
from accounts.queries import demo_organisation, open_organisations
from accounts.roles import Ability, Role
from accounts.services import add_member, create_organisation
from accounts.tenancy import name_organisation, organisation_transaction
from inspections.models import Defect
from inspections.services.defect_life import record_repair
from inspections.services.demo_rows import Rows, store_rows
from inspections.services.record import record_inspection
from inspections.simulation.book import Visit, simulated_visits

DEMO_PASSWORD = "four coils cool slowly"  # noqa: S105
DEMO_USERNAMES = ["demo-technician", "demo-manager", "demo-viewer"]
DEMO_FILE = settings.BASE_DIR / "fixtures" / "demo_fleet.json"
# A phone in the pit has signal again within the hour.
RECEIVED_AFTER = dt.timedelta(minutes=25)


def demo_is_open() -> bool:
    """Tell whether the demo organisation, and with it its well-known password, is in use."""
    return demo_organisation() is not None


@transaction.atomic
def load_demo_fleet(*, now: dt.datetime) -> str:
    """Load the demo fleet with three years of visits up to yesterday, and return a line about it."""
    fleet = json.loads(DEMO_FILE.read_text())
    until = now.date() - dt.timedelta(days=1)
    actors = _people(fleet)
    rows = store_rows(actors["demo-manager"], fleet, until)
    visits = list(simulated_visits(fleet, until=until, seed=fleet["simulation"]["seed"]))
    for visit in visits:
        received_at = visit.performed_at + RECEIVED_AFTER
        _repair_before(actors[visit.username], visit, rows, fleet["simulation"]["repairs"])
        record_inspection(actors[visit.username], _document(visit, rows), received_at=received_at)
    return f"Demo fleet: {len(fleet['vehicles'])} vehicles and {len(visits)} inspections of an invented operator."


def _people(fleet: Mapping[str, Any]) -> dict[str, Actor]:
    names = fleet["organisation"]
    organisation, administrator = create_organisation(
        slug=names["slug"],
        name=names["name"],
        administrator="demo-administrator",
        password=DEMO_PASSWORD,
        source="demo",
        is_demo=True,
    )
    name_organisation(organisation)
    actor = member_actor(administrator, source="demo")
    for row in fleet["users"]:
        add_member(actor, username=row["username"], password=DEMO_PASSWORD, role=Role(row["role"]))
    members = Member.objects.of(organisation).select_related("user", "organisation")
    return {member.user.username: member_actor(member, source="demo") for member in members}


def _repair_before(actor: Actor, visit: Visit, rows: Rows, repairs: Sequence[Mapping[str, Any]]) -> None:
    """Write down the repair that a retest proves."""
    installation = rows.installations[visit.installation]
    for repair in repairs if visit.retested_stages else []:
        if repair["installation"] == visit.installation:
            for defect in Defect.objects.filter(installation=installation, stage=repair["stage"], state="open"):
                record_repair(actor, defect, done=repair["remedy"])


def _document(visit: Visit, rows: Rows) -> dict[str, Any]:
    installation = rows.installations[visit.installation]
    document = {
        **visit.document,
        "id": new_id(),
        "installation": installation.uuid,
        "performed_at": visit.performed_at,
        "ammeter": rows.meters[visit.document["ammeter"]].uuid,
        "voltmeter": rows.meters[visit.document["voltmeter"]].uuid,
        "sign": True,
    }
    if visit.retested_stages:
        defects = Defect.objects.filter(installation=installation, stage__in=visit.retested_stages)
        document["retest_of"] = list(defects.values_list("uuid", flat=True))
    return document


@transaction.atomic
def close_demo(actor: Actor) -> bool:
    """Close the demo organisation for good and return whether it was open; its rows stay, and nobody gets in.

    A manager of the demo may, and an administrator of another organisation here.  It is not closed before there is
    another organisation to work in.
    """
    demo = demo_organisation()
    if demo is None:
        return False
    actor.require(Ability.MANAGE if actor.organisation.pk == demo.pk else Ability.ADMINISTER)
    if open_organisations() == [demo]:
        raise Conflict(_("Start your own book first; without the demo nobody could sign in."))
    demo.closed_at = timezone.now()
    with organisation_transaction(demo):
        demo.save(update_fields=["closed_at"])
        deed = Deed("close", demo, before={"closed_at": None}, after={"closed_at": demo.closed_at})
        write_audit(dataclasses.replace(actor, organisation=demo), [deed])
    return True
