"""What the organisation itself sets of a judgement: bounds, limits, and the lists of what is looked at."""

from django.db import models
from django.db.models import Q

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import User


class LimitsRevision(OrganisationRow):
    """The organisation's bounds, limits and lists as they hold from a moment on; append-only.

    Numbers stand as strings, digits as typed.  `temperature_bounds_c` holds the usual bounds that differ from the
    method's own; `limits` those of 12 V and of 24 V systems apart; the two lists hold `{code, name, hidden}`, where an
    empty name is the item's own.
    """

    number = models.PositiveIntegerField()
    temperature_bounds_c = models.JSONField(default=dict, blank=True)
    limits = models.JSONField(default=dict, blank=True)
    control_items = models.JSONField(default=list, blank=True)
    mechanical_items = models.JSONField(default=list, blank=True)
    entered_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="limits_revision_id"),
            models.UniqueConstraint(fields=["organisation", "number"], name="limits_revision_once"),
            models.CheckConstraint(name="limits_revision_counted_from_one", condition=Q(number__gte=1)),
        ]

    def __str__(self) -> str:
        return f"limits, revision {self.number}"
