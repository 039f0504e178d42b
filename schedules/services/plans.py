"""Check plans: how often an installation is checked, and on whose word."""

from typing import Any

from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.roles import Ability
from accounts.rows import store_row
from fleet.models import Installation
from schedules.models import CheckPlan


@transaction.atomic
def add_check_plan(actor: Actor, *, installation: Installation, **columns: Any) -> CheckPlan:
    """Add a plan to an installation; of several the earliest due date wins."""
    actor.require(Ability.MANAGE)
    return store_row(actor, CheckPlan(organisation=actor.organisation, installation=installation, **columns))


@transaction.atomic
def end_check_plan(actor: Actor, plan: CheckPlan, *, reason: str) -> CheckPlan:
    """End a plan; what it made due stays in the record."""
    actor.require(Ability.MANAGE)
    plan.ended_at = timezone.now()
    plan.save(update_fields=["ended_at", "changed_at"])
    write_audit(actor, [Deed("end", "check_plan", plan.uuid, reason=reason)])
    return plan
