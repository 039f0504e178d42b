"""Whose it is and who did it: people, organisations, depots, memberships, tokens, the audit stream, background work."""

import zoneinfo

from django.contrib.auth.models import AbstractUser
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from accounts.identity import OrganisationQuerySet, OrganisationRow, new_id
from accounts.roles import ROLE_CHOICES, Role

DECISION_RULES = [
    ("guarded", _("guarded")),
    ("simple", _("simple")),
    ("max_false_accept", _("maximum false acceptance")),
]


class User(AbstractUser):
    """A person who signs in; `uuid` stands for them in the audit stream, so that a name can be replaced."""

    uuid = models.UUIDField(default=new_id, unique=True, editable=False)

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Organisation(models.Model):
    """Who keeps the records, and the decision rule their verdicts are given under."""

    uuid = models.UUIDField(default=new_id, unique=True, editable=False)
    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=200)
    decision_rule = models.CharField(max_length=20, choices=DECISION_RULES, default="guarded")
    max_false_accept_probability = models.FloatField(null=True, blank=True)
    # What an expired or missing calibration does to a verdict: marks it plainly, or forbids it.
    calibration_required = models.BooleanField(default=False)
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


class Member(OrganisationRow):
    """A person in an organisation, with a role and, where wanted, an end date."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=20, choices=ROLE_CHOICES)
    ends_on = models.DateField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="member_id"),
            models.UniqueConstraint(fields=["organisation", "user"], name="member_once"),
            models.CheckConstraint(name="member_role_known", condition=Q(role__in=[role.value for role in Role])),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.role})"


class ApiToken(AbstractAuthToken):
    """A bearer token of one person in one organisation; only its digest is kept."""

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=100)
    last_used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name

    @property
    def is_expired(self) -> bool:
        """Tell whether the token's time is over."""
        return self.expiry is not None and self.expiry <= timezone.now()


class AuditHead(models.Model):
    """The newest link of an organisation's audit chain; its row is the lock that keeps the sequence without gaps."""

    organisation = models.OneToOneField(Organisation, on_delete=models.PROTECT, primary_key=True, related_name="+")
    sequence = models.PositiveBigIntegerField(default=0)
    hash = models.CharField(max_length=64, default="0" * 64)

    def __str__(self) -> str:
        return f"{self.organisation_id}: {self.sequence}"


class AuditEntry(models.Model):
    """Who did what to which object, when, why and from where; append-only, each entry hashed over the one before."""

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    on_behalf_of = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    source = models.CharField(max_length=20)
    address = models.CharField(max_length=64, blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    device_at = models.DateTimeField(null=True)
    action = models.CharField(max_length=40)
    object_type = models.CharField(max_length=40)
    object_id = models.UUIDField()
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    reason = models.TextField(blank=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "sequence"], name="audit_sequence"),
            models.UniqueConstraint(fields=["organisation", "previous_hash"], name="audit_one_chain"),
        ]
        indexes = [models.Index(fields=["organisation", "object_type", "object_id"], name="audit_object")]

    def __str__(self) -> str:
        return f"{self.sequence} {self.action} {self.object_type}"


class WorkRun(models.Model):
    """One window of one background job; claimed by a conditional update, so that two runners never share it."""

    STATES = [("queued", _("queued")), ("running", _("running")), ("done", _("done")), ("failed", _("failed"))]

    job = models.CharField(max_length=40)
    window = models.CharField(max_length=40)
    state = models.CharField(max_length=10, choices=STATES, default="queued")
    queued_at = models.DateTimeField(default=timezone.now)
    claimed_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    counts = models.JSONField(default=dict)
    error = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "window"], name="work_once_a_window"),
            models.CheckConstraint(
                name="work_state_known", condition=Q(state__in=["queued", "running", "done", "failed"])
            ),
            models.CheckConstraint(
                name="work_finished_after_claim",
                condition=Q(finished_at__isnull=True) | Q(claimed_at__isnull=False, finished_at__gte=F("claimed_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job} {self.window}"
