"""Pictures that belong to an inspection or a defect."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import User
from accounts.tracking import Tracking
from inspections.models.defects import Defect
from inspections.models.inspections import Inspection


class Photo(OrganisationRow):
    """A picture beside an inspection or a defect, drawn anew from what was sent; withdrawn with a reason only.

    The picture stands in its row, so that it is stored in the transaction that tells of it or not at all, and the
    database's walls hold for it as for every row.
    """

    # The stream keeps the picture's digest, not the picture.
    tracking: ClassVar[Tracking] = Tracking(unspoken=frozenset({"picture"}))

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, null=True, related_name="photos")
    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, null=True, related_name="photos")
    caption = models.CharField(max_length=200, blank=True)
    # JPEG, with nothing in it but the picture.
    picture = models.BinaryField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    sent_hash = models.CharField(max_length=64)
    received_at = models.DateTimeField()
    added_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    withdrawn_reason = models.TextField(null=True)  # noqa: DJ001

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="photo_id"),
            models.CheckConstraint(
                name="photo_belongs_to_one_thing",
                condition=Q(inspection__isnull=True, defect__isnull=False)
                | Q(inspection__isnull=False, defect__isnull=True),
            ),
            models.CheckConstraint(
                name="photo_withdrawn_by_somebody_with_a_reason",
                condition=Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True, withdrawn_reason__isnull=True)
                | Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False, withdrawn_reason__isnull=False)
                & ~Q(withdrawn_reason=""),
            ),
        ]
        indexes = [models.Index(fields=["organisation", "received_at", "id"], name="photo_by_time")]

    def __str__(self) -> str:
        return self.caption or str(self.uuid)
