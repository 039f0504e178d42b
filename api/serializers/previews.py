"""What clients post to have a trend or a due date worked out without storing anything."""

import datetime as dt
import zoneinfo
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from api.fields import Instant, OneOf, Quantity, Text, Whole
from api.serializers.readings import RatingSerializer
from fleet.models import MAX_STAGES
from inspections.models import VERDICT_CODES
from schedules.models import MOST

MOST_CHECKS = 500
MOST_READINGS = 2_000


class Day(serializers.DateField):
    """A date as ISO 8601 writes it, 2026-11-25, and nothing else."""

    def __init__(self, **kwargs: Any) -> None:
        """Take one form only."""
        super().__init__(input_formats=["iso-8601"], **kwargs)

    def to_internal_value(self, value: Any) -> dt.date:
        """Return the date; an instant is none."""
        if not isinstance(value, str) or len(value) != len("2026-11-25"):
            self.fail("invalid", format="2026-11-25")
        return super().to_internal_value(value)


class LevelsSerializer(serializers.Serializer[Any]):
    """One check of a series: the level of each stage in % of rated, null where it was not read."""

    performed_at = Instant()
    levels_percent = serializers.ListField(
        child=Quantity(high=100_000, allow_null=True), min_length=1, max_length=MAX_STAGES
    )
    expanded_uncertainties_percent = serializers.ListField(
        child=Quantity(above=True, high=10_000, allow_null=True), min_length=1, max_length=MAX_STAGES
    )


class TrendPreviewSerializer(serializers.Serializer[Any]):
    """A series of checks to be judged without storing."""

    rating = RatingSerializer()
    inspections = serializers.ListField(child=LevelsSerializer(), max_length=MOST_CHECKS)
    shared_expanded_uncertainty_percent = Quantity(high=1_000, required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for one level and one uncertainty a stage."""
        stages = attrs["rating"]["stages"]
        for index, check in enumerate(attrs["inspections"]):
            for key in ("levels_percent", "expanded_uncertainties_percent"):
                if len(check[key]) != stages:
                    detail = _("%(found)s figures for %(stages)s stages; allowed is one a stage.")
                    fault = {key: [detail % {"found": len(check[key]), "stages": stages}]}
                    raise serializers.ValidationError({"inspections": {str(index): fault}}, "length")
            if any(
                (level is None) != (u is None)
                for level, u in zip(check["levels_percent"], check["expanded_uncertainties_percent"], strict=True)
            ):
                fault = {"levels_percent": [str(_("A level and its uncertainty are given or left out together."))]}
                raise serializers.ValidationError({"inspections": {str(index): fault}}, "required")
        return attrs


class PlanSerializer(serializers.Serializer[Any]):
    """How often a check is due; at least one limb."""

    months = Whole(low=1, high=int(MOST["months"]), required=False, allow_null=True)
    days = Whole(low=1, high=int(MOST["days"]), required=False, allow_null=True)
    km = Quantity(above=True, high=MOST["km"], required=False, allow_null=True)
    hours = Quantity(above=True, high=MOST["hours"], required=False, allow_null=True)
    lead_days = Whole(low=0, high=366, required=False, default=30)
    anchor_on = Day(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for a limb, and for months beside an anchor."""
        if all(attrs.get(limb) is None for limb in ("months", "days", "km", "hours")):
            raise serializers.ValidationError({"months": _("Needed: months, days, km or hours.")}, "required")
        if attrs.get("anchor_on") is not None and attrs.get("months") is None:
            raise serializers.ValidationError({"anchor_on": _("Goes with months only.")}, "invalid")
        return attrs


class EventSerializer(serializers.Serializer[Any]):
    """A fitting, or a check with its verdict; one without counts as passed."""

    kind = OneOf(["fitted", "check"])
    on = Day()
    verdict = OneOf(VERDICT_CODES, required=False, allow_null=True)


class UsageSerializer(serializers.Serializer[Any]):
    """What a counter showed on a day, in km or hours."""

    limb = OneOf(["km", "hours"])
    on = Day()
    value = Quantity(high=MOST["km"])


class DueDatePreviewSerializer(serializers.Serializer[Any]):
    """A plan and what it counts from, to have the next due date worked out without storing."""

    plan = PlanSerializer()
    events = serializers.ListField(child=EventSerializer(), required=False, default=list, max_length=MOST_CHECKS)
    usage = serializers.ListField(child=UsageSerializer(), required=False, default=list, max_length=MOST_READINGS)
    as_of = Instant()
    time_zone = Text(max_length=64, required=False, default="UTC")

    def validate_time_zone(self, name: str) -> str:
        """Ask for an IANA time zone."""
        if name not in zoneinfo.available_timezones():
            raise serializers.ValidationError(_("%(name)s is not an IANA time zone.") % {"name": name})
        return name


class LimbSerializer(serializers.Serializer[Any]):
    """What one limb of a plan says."""

    limb = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    reached = serializers.BooleanField()
    predicted = serializers.BooleanField()
    due_value = serializers.FloatField(allow_null=True)


class DueDatePreviewAnswerSerializer(serializers.Serializer[Any]):
    """When the next check is due, and what each limb says."""

    due_on = serializers.DateField(allow_null=True)
    limb = serializers.CharField(allow_null=True)
    state = serializers.CharField()
    overdue_days = serializers.IntegerField()
    reached = serializers.ListField(child=serializers.CharField())
    limbs = LimbSerializer(many=True)
