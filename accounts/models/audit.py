"""The audit stream: a chain of entries an organisation, and its newest link."""

from typing import ClassVar

from django.db import models

from accounts.identity import OrganisationQuerySet
from accounts.models.organisations import Organisation
from accounts.models.people import User
from accounts.tracking import Tracking


class AuditHead(models.Model):
    """The newest link of an organisation's audit chain; its row is the lock that keeps the sequence without gaps."""

    tracking: ClassVar[Tracking] = Tracking(untracked_because="it is checked against the chain itself")

    organisation = models.OneToOneField(Organisation, on_delete=models.PROTECT, primary_key=True, related_name="+")
    sequence = models.PositiveBigIntegerField(default=0)
    hash = models.CharField(max_length=64, default="0" * 64)

    objects = OrganisationQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.organisation_id}: {self.sequence}"


class AuditEntry(models.Model):
    """Who did what to which object, when, why and from where; append-only, each entry hashed over the one before."""

    tracking: ClassVar[Tracking] = Tracking(
        untracked_because="it is the chain: each entry is hashed over the one before"
    )

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    sequence = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    on_behalf_of = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    source = models.CharField(max_length=20)
    token = models.CharField(max_length=100, blank=True)
    address = models.CharField(max_length=64, blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    device_at = models.DateTimeField(null=True)
    action = models.CharField(max_length=40)
    object_type = models.CharField(max_length=40)
    object_id = models.UUIDField()
    # Of the row as it stood after the deed; empty where the table is not tracked.
    content_hash = models.CharField(max_length=64, blank=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    reason = models.TextField(blank=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "sequence"], name="audit_sequence"),
            models.UniqueConstraint(fields=["organisation", "previous_hash"], name="audit_one_chain"),
        ]
        indexes = [
            models.Index(fields=["organisation", "object_type", "object_id", "sequence"], name="audit_object"),
        ]

    def __str__(self) -> str:
        return f"{self.sequence} {self.action} {self.object_type}"
