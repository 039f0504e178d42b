"""Background work: one row a window of a job."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from accounts.tracking import Tracking


class WorkRun(models.Model):
    """One window of one background job; claimed by a conditional update, so that two runners never share it."""

    tracking: ClassVar[Tracking] = Tracking(untracked_because="it tells what the server did, and belongs to nobody")

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
