"""What the nights found in a series of inspections."""

import datetime as dt
from dataclasses import asdict
from typing import Any, ClassVar

from django.db import models
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import Organisation
from accounts.tracking import Tracking
from fleet.models import Installation, Retarder
from inspections.models.chunks import Chunk
from inspections.models.codes import one_of
from inspections.models.inspections import Inspection
from inspections.models.meters import Meter


class Trend(OrganisationRow):
    """What the night's work knows of an installation's levels: one row, fitted anew when evidence arrives.

    `figures` are the figures of the stages as `calc.trend.packed` packs them: a night writes a hundred thousand rows.
    """

    tracking = Tracking(untracked_because="fitted anew from the evidence by the night")

    installation = models.OneToOneField(Installation, on_delete=models.PROTECT, related_name="trend")
    figures = models.BinaryField()
    attribution = models.CharField(max_length=20, null=True)  # noqa: DJ001
    next_check_on = models.DateField(null=True)
    method = models.CharField(max_length=40)
    method_version = models.CharField(max_length=10)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "uuid"], name="trend_id")]
        # Which units have no trend of this method is asked every night, of the whole fleet.
        indexes = [models.Index(fields=["organisation", "installation", "method_version"], name="trend_of_unit")]

    def __str__(self) -> str:
        return f"trend of {self.installation_id}"

    @property
    def stages(self) -> list[dict[str, Any]]:
        """Return slope, level and forecast of each stage as a document, dates as text."""
        # Every command loads the tables, and few of them need what computes.
        from calc.trend import unpacked_stages

        return [
            {key: value.isoformat() if isinstance(value, dt.date) else value for key, value in asdict(stage).items()}
            for stage in unpacked_stages(bytes(self.figures))
        ]


class TrendNews(models.Model):
    """A unit whose evidence has changed since its trend was fitted: the work list of the night.

    `mark` changes with every change of the evidence, so that a fit takes a row off the list only if it has seen it all.
    """

    tracking: ClassVar[Tracking] = Tracking(untracked_because="a work list: it says what is still to be done")

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    retarder = models.OneToOneField(Retarder, on_delete=models.PROTECT, related_name="trend_news")
    mark = models.BigIntegerField()

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["organisation", "retarder"], name="trend_news_in_order")]

    def __str__(self) -> str:
        return f"news of {self.retarder_id}"


class TrendChunk(Chunk):
    """A range of units on a night's list that are fitted together."""

    fitted = models.PositiveIntegerField(default=0)
    declines_changed = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "first_unit"], name="trend_chunk_once")]

    def __str__(self) -> str:
        return f"units {self.first_unit} to {self.last_unit}"


# Instead of the day of a step: all that a clamp read since its calibration.
WHOLE_PERIOD = -1


class MeterEffect(models.Model):
    """How far a clamp between two calibrations reads from the other clamps, as last measured against them.

    `calibrated_day` is the day of the last calibration before its readings, counted from 2000-01-01, −1 where there was
    none.  `since_day` is −1, or the day from which on the clamp was found to read otherwise while no calibration is on
    file about it: the row is of what it read since.  Where no other clamp corroborates that the clamp is the cause and
    not the units, `corroborated` is false: the row is a doubt, it is not flagged, takes nothing out of the levels, and
    its effect is how much more the clamp reads than before, not than the other clamps.

    Effect and standard uncertainty are whole hundredths of a percent; the effect is null where the clamp shares no unit
    with another, the uncertainty also where it was not needed.
    """

    tracking: ClassVar[Tracking] = Tracking(untracked_because="measured anew from the evidence by the night")

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="effects")
    calibrated_day = models.IntegerField()
    since_day = models.IntegerField(default=WHOLE_PERIOD, db_default=WHOLE_PERIOD)
    effect = models.IntegerField(null=True)
    u_effect = models.IntegerField(null=True)
    visits = models.PositiveIntegerField()
    flagged = models.BooleanField(default=False)
    corroborated = models.BooleanField(default=True, db_default=True)
    measured_at = models.DateTimeField()

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["meter", "calibrated_day", "since_day"], name="meter_effect_once")
        ]

    def __str__(self) -> str:
        return f"{self.meter_id}: {self.effect}"

    @property
    def is_part(self) -> bool:
        """Return whether it is of what the clamp read since a step, not of all since its calibration."""
        return self.since_day != WHOLE_PERIOD


class Decline(OrganisationRow):
    """A loss (or rise) of current that the night's work has flagged, keyed to the evidence that raised it."""

    tracking = Tracking(untracked_because="raised and ended anew from the evidence by the night")

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
