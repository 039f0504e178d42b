"""What the nights found in a series of inspections."""

from django.db import models
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from fleet.models import Installation
from inspections.models.codes import one_of
from inspections.models.inspections import Inspection


class Trend(OrganisationRow):
    """What the night's work knows of an installation's levels: one row, fitted anew when evidence arrives."""

    installation = models.OneToOneField(Installation, on_delete=models.PROTECT, related_name="trend")
    stages = models.JSONField()
    attribution = models.CharField(max_length=20, null=True)  # noqa: DJ001
    next_check_on = models.DateField(null=True)
    # The evidence it was fitted to, as a digest: a night without news finds it unchanged and fits nothing.
    fitted_to = models.CharField(max_length=64)
    method = models.CharField(max_length=40)
    method_version = models.CharField(max_length=10)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "uuid"], name="trend_id")]

    def __str__(self) -> str:
        return f"trend of {self.installation_id}"


class Decline(OrganisationRow):
    """A loss (or rise) of current that the night's work has flagged, keyed to the evidence that raised it."""

    ATTRIBUTIONS = [
        ("stage", _("one stage")),
        ("all_stages", _("all stages")),
        ("supply", _("supply")),
        ("retarder_ground", _("retarder ground")),
        ("meter", _("test meter")),
    ]
    STATES = [
        ("watched", _("watched")),
        ("confirmed", _("confirmed")),
        ("withdrawn", _("withdrawn")),
        ("resolved", _("resolved")),
    ]

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="declines")
    raised_by = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="+")
    attribution = models.CharField(max_length=20, choices=ATTRIBUTIONS)
    stage = models.PositiveSmallIntegerField(null=True)
    rising = models.BooleanField(default=False)
    state = models.CharField(max_length=10, choices=STATES)
    raised_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    reason = models.TextField(blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="decline_id"),
            models.UniqueConstraint("raised_by", "attribution", Coalesce("stage", 0), name="decline_once"),
            models.CheckConstraint(
                name="decline_attribution_known",
                condition=one_of("attribution", ["stage", "all_stages", "supply", "retarder_ground", "meter"]),
            ),
            models.CheckConstraint(
                name="decline_state_known",
                condition=one_of("state", ["watched", "confirmed", "withdrawn", "resolved"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.attribution} {self.state}"
