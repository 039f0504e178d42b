"""The link in a cab by which a driver reports without an account."""

from django.db import models
from django.db.models import Q

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import User
from fleet.models import Vehicle


class DriverLink(OrganisationRow):
    """A vehicle's address for reports; the label in the cab shows it, and revoking it ends what the label can do."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="driver_links")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="driver_link_id"),
            models.UniqueConstraint(
                fields=["vehicle"], name="driver_link_one_in_force", condition=Q(revoked_at__isnull=True)
            ),
            models.CheckConstraint(
                name="driver_link_revoked_by_somebody",
                condition=Q(revoked_at__isnull=True, revoked_by__isnull=True)
                | Q(revoked_at__isnull=False, revoked_by__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"driver link of {self.vehicle_id}"
