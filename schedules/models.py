"""What is due and who was told: check plans, the next due date of each installation, reminders."""

import datetime as dt

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import Depot, Member
from accounts.models.outgoing import HELD_VALUES, Outgoing
from accounts.tracking import Tracking
from fleet.models import Installation

LIMBS = [
    ("months", _("months")),
    ("days", _("days")),
    ("km", _("km")),
    ("hours", _("hours")),
    ("trend", _("trend")),
]
# Longer than any vehicle lives; without a ceiling a slip of the keyboard would leave the calendar.
MOST = {"months": 600, "days": 20_000, "km": 10_000_000, "hours": 1_000_000}
NEVER = dt.date.max
DUE_STATES = [
    ("no_plan", _("no plan")),
    ("cannot_tell", _("cannot tell")),
    ("not_due", _("not due")),
    ("in_notice", _("in notice")),
    ("due", _("due")),
    ("overdue", _("overdue")),
]


class CheckPlan(OrganisationRow):
    """How often an installation is checked: months, days, km, hours, whichever comes first, and on whose word."""

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="check_plans")
    months = models.PositiveSmallIntegerField(null=True, blank=True)
    days = models.PositiveIntegerField(null=True, blank=True)
    km = models.FloatField(null=True, blank=True)
    hours = models.FloatField(null=True, blank=True)
    anchor_on = models.DateField(null=True, blank=True)
    lead_days = models.PositiveSmallIntegerField(default=30)
    pass_required = models.BooleanField(default=False)
    source = models.CharField(max_length=300, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="check_plan_id"),
            models.CheckConstraint(
                name="check_plan_has_a_limb",
                condition=Q(months__isnull=False)
                | Q(days__isnull=False)
                | Q(km__isnull=False)
                | Q(hours__isnull=False),
            ),
            *(
                models.CheckConstraint(
                    name=f"check_plan_{limb}_in_range",
                    condition=Q(**{f"{limb}__isnull": True}) | Q(**{f"{limb}__gt": 0, f"{limb}__lte": most}),
                )
                for limb, most in MOST.items()
            ),
            models.CheckConstraint(
                name="check_plan_anchor_goes_with_months",
                condition=Q(anchor_on__isnull=True) | Q(months__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"plan of {self.installation_id}"


class DueDate(OrganisationRow):
    """When an installation in service is next due, as last worked out; stored, so that no list works it out again."""

    tracking = Tracking(untracked_because="worked out anew from plans, checks and counters, every night")

    installation = models.OneToOneField(Installation, on_delete=models.PROTECT, related_name="due_date")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="+")
    plan = models.ForeignKey(CheckPlan, on_delete=models.PROTECT, null=True, related_name="+")
    due_on = models.DateField(null=True)
    limb = models.CharField(max_length=10, choices=LIMBS, null=True)  # noqa: DJ001
    state = models.CharField(max_length=12, choices=DUE_STATES)
    overdue_days = models.PositiveIntegerField(default=0)
    last_check_on = models.DateField(null=True)
    cycle_began_by = models.UUIDField()
    # The verdict it rests on was given anew with another outcome; true until somebody decides.
    verdict_changed = models.BooleanField(default=False)
    # Lists run in this order; what has no date yet comes last.
    sorts_on = models.DateField(default=NEVER)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="due_date_id"),
            models.CheckConstraint(
                name="due_date_state_known", condition=Q(state__in=[state for state, _label in DUE_STATES])
            ),
            models.CheckConstraint(
                name="due_date_limb_goes_with_the_date", condition=Q(due_on__isnull=True) | Q(limb__isnull=False)
            ),
            models.CheckConstraint(
                name="due_date_overdue_days_go_with_the_state",
                condition=Q(state="overdue", overdue_days__gt=0) | ~Q(state="overdue") & Q(overdue_days=0),
            ),
        ]
        indexes = [models.Index(fields=["organisation", "sorts_on", "id"], name="due_by_date")]

    def __str__(self) -> str:
        return f"{self.installation_id}: {self.state}"


class Reminder(OrganisationRow, Outgoing):
    """A message owed to a person; its identity never contains the date, so that a moved due date tells nobody twice."""

    tracking = Tracking(untracked_because="the night queues it and the outbox rewrites it")

    STAGES = [("in_notice", _("in notice")), ("due", _("due")), ("overdue", _("overdue"))]

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="reminders")
    plan = models.ForeignKey(CheckPlan, on_delete=models.PROTECT, related_name="+")
    cycle_began_by = models.UUIDField()
    lead_stage = models.CharField(max_length=12, choices=STAGES)
    person = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="reminders")
    due_on = models.DateField()
    seen_at = models.DateTimeField(null=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="reminder_id"),
            models.UniqueConstraint(
                fields=["installation", "plan", "cycle_began_by", "lead_stage", "person"], name="reminder_once"
            ),
            models.CheckConstraint(
                name="reminder_stage_known", condition=Q(lead_stage__in=["in_notice", "due", "overdue"])
            ),
            models.CheckConstraint(name="reminder_held_known", condition=Q(held__in=HELD_VALUES)),
        ]
        indexes = [
            models.Index(fields=["queued_at"], name="reminder_to_send", condition=Q(sent_at__isnull=True, held=""))
        ]

    def __str__(self) -> str:
        return f"{self.lead_stage} to {self.person_id}"
