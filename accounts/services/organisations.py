"""Organisations and their depots."""

from django.db import transaction

from accounts.actors import Actor, system_actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict
from accounts.models import Depot, Member, Organisation
from accounts.queries import organisation_called
from accounts.roles import Ability, Role
from accounts.rows import change_row, store_row
from accounts.services.members import add_member
from accounts.tenancy import founding_transaction


@transaction.atomic
def create_organisation(
    *,
    slug: str,
    name: str,
    administrator: str,
    password: str | None,
    source: str = "command",
    is_demo: bool = False,
) -> tuple[Organisation, Member]:
    """Make an empty organisation with its first administrator; `password` None joins a user who exists already."""
    if organisation_called(slug) is not None:
        raise Conflict(f"There is an organisation {slug!r} already.")
    organisation = Organisation(slug=slug, name=name, is_demo=is_demo)
    organisation.full_clean()
    with founding_transaction(organisation):
        actor = system_actor(organisation, source=source)
        write_audit(actor, [Deed("create", organisation, after={"slug": slug, "name": name})])
        return organisation, add_member(actor, username=administrator, password=password, role=Role.ADMINISTRATOR)


@transaction.atomic
def add_depot(actor: Actor, *, name: str, time_zone: str) -> Depot:
    """Add a depot; its time zone decides which day it is there."""
    actor.require(Ability.MANAGE)
    return store_row(actor, Depot(organisation=actor.organisation, name=name, time_zone=time_zone))


@transaction.atomic
def name_and_place(actor: Actor, *, name: str, address: str) -> Organisation:
    """Set under which name and postal address the organisation's records are printed from now on."""
    actor.require(Ability.ADMINISTER)
    organisation = Organisation.objects.select_for_update(no_key=True).get(pk=actor.organisation.pk)
    return change_row(actor, organisation, {"name": name, "address": address}, action="name_and_place")


@transaction.atomic
def require_two_step(actor: Actor, *, required: bool) -> Organisation:
    """Ask a second step at signing in of every member, or no longer; who has none is led to set it up."""
    actor.require(Ability.ADMINISTER)
    organisation = Organisation.objects.select_for_update(no_key=True).get(pk=actor.organisation.pk)
    return change_row(actor, organisation, {"two_step_required": required}, action="require_two_step")
