"""Check plans: how often an installation is checked, and on whose word."""

from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Conflict
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from fleet.models import Installation
from schedules.models import CheckPlan


@transaction.atomic
def add_check_plan(actor: Actor, *, installation: Installation, **columns: Any) -> CheckPlan:
    """Add a plan to an installation; of several the earliest due date wins."""
    actor.require(Ability.MANAGE)
    return store_row(actor, CheckPlan(organisation=actor.organisation, installation=installation, **columns))


@transaction.atomic
def change_check_plan(actor: Actor, plan: CheckPlan, **columns: Any) -> CheckPlan:
    """Change a running plan that the caller has locked."""
    actor.require(Ability.MANAGE)
    if plan.ended_at is not None:
        raise Conflict(_("The plan has ended; a new one can be added."))
    return change_row(actor, plan, columns)


@transaction.atomic
def end_check_plan(actor: Actor, plan: CheckPlan, *, reason: str) -> CheckPlan:
    """End a plan; what it made due stays in the record."""
    actor.require(Ability.MANAGE)
    return change_row(actor, plan, {"ended_at": timezone.now()}, action="end", reason=reason)
