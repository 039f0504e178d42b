"""Calibrations and comparisons of test meters, as clients send and read them."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.fields import Id, Quantity, Text
from api.serializers.previews import Day
from api.serializers.rows import CalibrationSerializer, RowSerializer
from api.serializers.shapes import Shape
from api.serializers.submissions import MeterOrId
from inspections.calibrations import error_as_found
from inspections.models import Calibration, MeterComparison

MOST_POINTS = 50
MOST_RANGES = 10
LARGEST = Decimal(1_000_000)


class CalibrationPointSerializer(serializers.Serializer[Any]):
    """One line of a certificate: what was applied, and what the meter showed, in its unit."""

    applied = Quantity(low=-LARGEST, high=LARGEST)
    shown = Quantity(low=-LARGEST, high=LARGEST)


class CalibrationRowSerializer(CalibrationSerializer):
    """A calibration with its meter, and the error the meter came with."""

    meter = serializers.UUIDField(source="meter.uuid", read_only=True)
    found_error = serializers.SerializerMethodField()
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = Calibration
        fields = [*CalibrationSerializer.Meta.fields, "meter", "found_error", "recorded_by", "changed_at"]

    def get_found_error(self, calibration: Calibration) -> dict[str, float] | None:
        """Return gain in percent and zero in the meter's unit, null where no values as found are on file."""
        found = error_as_found(calibration)
        return None if found is None else {"gain_percent": found.gain_percent, "zero": found.zero}


class DoubtSerializer(serializers.Serializer[Any]):
    """Why checks are judged anew, and with which error; left out, the error is that of the values as found."""

    reason = Text(max_length=1_000)
    gain_percent = Quantity(low=-90, high=1_000, required=False, allow_null=True)
    zero = Quantity(low=-LARGEST, high=LARGEST, required=False, allow_null=True)


class VerdictChangeSerializer(Shape):
    """How many went from one verdict to another."""

    before = serializers.CharField()
    after = serializers.CharField()
    count = serializers.IntegerField()


class JudgedInDoubtSerializer(Shape):
    """How many checks were judged anew, how many wait for the background, what changed, and as which set."""

    judged = serializers.IntegerField()
    left = serializers.IntegerField()
    changes = VerdictChangeSerializer(many=True)
    rejudging = serializers.UUIDField(allow_null=True)


class ReadingsOfTwoSerializer(serializers.Serializer[Any]):
    """What two meters showed of one quantity at one time."""

    first = Quantity(low=-LARGEST, high=LARGEST)
    second = Quantity(low=-LARGEST, high=LARGEST)


class ComparisonPreviewSerializer(serializers.Serializer[Any]):
    """Two meters, by id or by their figures, and what they showed."""

    first = MeterOrId()
    second = MeterOrId()
    readings = serializers.ListField(child=ReadingsOfTwoSerializer(), min_length=1, max_length=MOST_POINTS)


class ComparisonFormSerializer(serializers.Serializer[Any]):
    """A comparison of two meters on file, to be kept."""

    readings = serializers.ListField(child=ReadingsOfTwoSerializer(), min_length=1, max_length=MOST_POINTS)
    id = Id(client_made=True, required=False, source="uuid")
    first = Id()
    second = Id()
    compared_on = Day()
    note = Text(max_length=2_000, required=False, allow_blank=True)


class PairSerializer(Shape):
    """One pair of readings: expanded uncertainties with k = 2, and E_n."""

    first = serializers.FloatField()
    second = serializers.FloatField()
    first_expanded_uncertainty = serializers.FloatField()
    second_expanded_uncertainty = serializers.FloatField()
    normalised_error = serializers.FloatField()


class ComparisonAnswerSerializer(Shape):
    """How two meters compare; they agree where no E_n is beyond one."""

    pairs = PairSerializer(many=True)
    normalised_error = serializers.FloatField()
    agree = serializers.BooleanField()


class ComparisonSerializer(RowSerializer):
    """A comparison on file."""

    first = serializers.UUIDField(source="first.uuid", read_only=True)
    second = serializers.UUIDField(source="second.uuid", read_only=True)
    pairs = serializers.SerializerMethodField()
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = MeterComparison
        fields = [
            "id", "first", "second", "compared_on", "pairs", "normalised_error", "agree", "note", "recorded_by",
            "changed_at",
        ]  # fmt: skip

    def get_pairs(self, comparison: MeterComparison) -> list[dict[str, float]]:
        """Return each pair with its numbers."""
        names = list(PairSerializer().get_fields())
        return [{name: float(pair[name]) for name in names} for pair in comparison.pairs]
