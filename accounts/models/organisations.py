"""The organisations that keep records, and the depots of their vehicles."""

import zoneinfo
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow, new_id
from accounts.tracking import Tracking

DECISION_RULES = [
    ("guarded", _("guarded")),
    ("simple", _("simple")),
    ("max_false_accept", _("maximum false acceptance")),
]


class Organisation(models.Model):
    """Who keeps the records, and the decision rule their verdicts are given under."""

    tracking: ClassVar[Tracking] = Tracking()

    uuid = models.UUIDField(default=new_id, unique=True, editable=False)
    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=200)
    # As a printed record names who did the work.
    address = models.TextField(max_length=500, blank=True)
    decision_rule = models.CharField(max_length=20, choices=DECISION_RULES, default="guarded")
    max_false_accept_probability = models.FloatField(null=True, blank=True)
    # What an expired or missing calibration does to a verdict: marks it plainly, or forbids it.
    calibration_required = models.BooleanField(default=False)
    # A second step at signing in, asked of every member.
    two_step_required = models.BooleanField(default=False)
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="organisation_decision_rule_known",
                condition=Q(decision_rule__in=["guarded", "simple", "max_false_accept"]),
            ),
            models.CheckConstraint(
                name="organisation_false_accept_goes_with_its_rule",
                condition=Q(decision_rule="max_false_accept", max_false_accept_probability__isnull=False)
                & Q(max_false_accept_probability__gt=0, max_false_accept_probability__lte=0.5)
                | ~Q(decision_rule="max_false_accept") & Q(max_false_accept_probability__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return self.name


def validate_time_zone(name: str) -> None:
    """Refuse a name that is no IANA time zone."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(_("%(name)s is not an IANA time zone."), params={"name": name})


class Depot(OrganisationRow):
    """Where vehicles are based; local dates are dates in its zone."""

    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64, validators=[validate_time_zone])

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="depot_id"),
            models.UniqueConstraint(fields=["organisation", "name"], name="depot_name"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """Return the depot's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)
