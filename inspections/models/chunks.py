"""The night's work cut into ranges of units, each done by whoever claims it first."""

from typing import ClassVar

from django.db import models

from accounts.identity import OrganisationQuerySet
from accounts.models import Organisation
from accounts.tracking import Tracking


class Chunk(models.Model):
    """A range of units of one part of a night; gone when the night is over, or when the next one plans.

    One that could not be done keeps its `error` until the next night tries again.  `claims` counts how often it was
    taken on since it was planned, cut or set aside: a worker that is killed does none of these.
    """

    tracking: ClassVar[Tracking] = Tracking(untracked_because="a work list: it says what is still to be done")

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    first_unit = models.BigIntegerField()
    last_unit = models.BigIntegerField()
    units = models.PositiveIntegerField()
    planned_at = models.DateTimeField()
    claimed_at = models.DateTimeField(null=True)
    claims = models.PositiveIntegerField(default=0, db_default=0)
    finished_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True, default="")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"units {self.first_unit} to {self.last_unit}"


class DueDateChunk(Chunk):
    """A range of installations whose due dates are worked out as of the night's instant, whoever does it and when."""

    as_of = models.DateTimeField()
    changed = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "first_unit"], name="due_date_chunk_once")]

    def __str__(self) -> str:
        return f"due dates of installations {self.first_unit} to {self.last_unit}"
