"""The people who sign in."""

from typing import ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models

from accounts.identity import new_id
from accounts.tracking import Tracking


class User(AbstractUser):
    """A person who signs in; `uuid` stands for them in the audit stream, so that a name can be replaced."""

    tracking: ClassVar[Tracking] = Tracking(
        untracked_because="a person is in several organisations, and a name can be replaced"
    )

    uuid = models.UUIDField(default=new_id, unique=True, editable=False)

    def __str__(self) -> str:
        return self.get_full_name() or self.username
