"""Who belongs to which organisation, with which role, until when, and who is asked to."""

import datetime as dt
from typing import Self

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models.outgoing import HELD_VALUES, REWRITTEN_BY_THE_OUTBOX, Outgoing
from accounts.models.people import User
from accounts.roles import ROLE_CHOICES, Role
from accounts.tracking import Tracking

ROLE_VALUES = [role.value for role in Role]


class MemberQuerySet(OrganisationQuerySet["Member"]):
    """Memberships, past and present."""

    def staying(self) -> Self:
        """Keep who was not removed; the access of some may have ended by its date."""
        return self.filter(removed_at__isnull=True)

    def current(self, on: dt.date | None = None) -> Self:
        """Keep who gets in: not removed, not past the end date, able to sign in, in an organisation that is open."""
        day = on or timezone.now().date()
        return self.staying().filter(
            Q(ends_on__isnull=True) | Q(ends_on__gte=day), user__is_active=True, organisation__closed_at__isnull=True
        )


class Member(OrganisationRow):
    """A person in an organisation, with a role and, where wanted, an end date; a removed one keeps the row."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=20, choices=ROLE_CHOICES)
    ends_on = models.DateField(null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = MemberQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="member_id"),
            models.UniqueConstraint(fields=["organisation", "user"], name="member_once"),
            models.CheckConstraint(name="member_role_known", condition=Q(role__in=ROLE_VALUES)),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.role})"


class Invitation(OrganisationRow, Outgoing):
    """A one-time way in for one person; only the digest of its link is kept."""

    tracking = Tracking(
        excluded={**REWRITTEN_BY_THE_OUTBOX, **dict.fromkeys(["name", "email"], "a person's name can be replaced")},
        unspoken=frozenset({"digest"}),
    )

    name = models.CharField(max_length=200)
    email = models.EmailField(blank=True)
    role = models.CharField(max_length=20, choices=ROLE_CHOICES)
    access_ends_on = models.DateField(null=True, blank=True)
    digest = models.CharField(max_length=64, unique=True)
    # The address of the page that takes the link, up to the secret; its host may be a name of the own network.
    answer_at = models.CharField(max_length=300)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="invitation_id"),
            models.CheckConstraint(name="invitation_role_known", condition=Q(role__in=ROLE_VALUES)),
            models.CheckConstraint(
                name="invitation_accepted_by_goes_with_its_time",
                condition=Q(accepted_at__isnull=True, accepted_by__isnull=True)
                | Q(accepted_at__isnull=False, accepted_by__isnull=False),
            ),
            models.CheckConstraint(
                name="invitation_is_used_or_revoked", condition=Q(accepted_at__isnull=True) | Q(revoked_at__isnull=True)
            ),
            models.CheckConstraint(name="invitation_held_known", condition=Q(held__in=HELD_VALUES)),
            models.CheckConstraint(name="invitation_expires_later", condition=Q(expires_at__gt=F("created_at"))),
        ]

    def __str__(self) -> str:
        return self.name
