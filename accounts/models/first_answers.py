"""First answers to requests that may be sent again."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from accounts.identity import OrganisationQuerySet
from accounts.tracking import Tracking

LONGEST_KEY = 255


class FirstAnswer(models.Model):
    """What a request with an idempotency key was answered first; the same request again is answered the same."""

    tracking: ClassVar[Tracking] = Tracking(untracked_because="a copy of an answer, kept for 90 days")

    organisation = models.ForeignKey("accounts.Organisation", on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=LONGEST_KEY)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    # Deflated: a batch answers with megabytes.
    body = models.BinaryField()
    answered_at = models.DateTimeField(default=timezone.now)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "key"], name="first_answer_key")]
        indexes = [models.Index(fields=["organisation", "answered_at"], name="first_answer_age")]

    def __str__(self) -> str:
        return self.key
