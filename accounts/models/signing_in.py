"""How a person proves who they are, beside the password: sessions at devices, and codes to fall back on."""

from typing import ClassVar

from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils import timezone

from accounts.models.people import User
from accounts.tracking import Tracking


class Session(AbstractBaseSession):
    """One browser somebody is signed in at; listed to them, so that they can end what they do not know."""

    tracking: ClassVar[Tracking] = Tracking(untracked_because="it ends with the visit, and its person may end it")

    user = models.ForeignKey(User, on_delete=models.CASCADE, null=True, related_name="sessions")
    started_at = models.DateTimeField(default=timezone.now)
    last_seen_at = models.DateTimeField(default=timezone.now)
    address = models.CharField(max_length=64, blank=True)
    browser = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"session of {self.user_id}"

    @classmethod
    def get_session_store_class(cls) -> type:
        """Return the store that keeps these rows."""
        from accounts.sessions import SessionStore

        return SessionStore


class RecoveryCode(models.Model):
    """A code that stands in once for the second step; only its digest is kept."""

    tracking: ClassVar[Tracking] = Tracking(untracked_because="it belongs to a person, not to an organisation")

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="recovery_codes")
    digest = models.CharField(max_length=64)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "digest"], name="recovery_code_once")]

    def __str__(self) -> str:
        return f"recovery code of {self.user_id}"
