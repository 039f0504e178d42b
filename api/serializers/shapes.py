"""The shapes of what would settle a verdict, of the two lines, and of a preview, for the schema."""

from typing import Any

from rest_framework import serializers

Shape = serializers.Serializer[Any]


def number() -> serializers.FloatField:
    """Return an unrounded number that may be null."""
    return serializers.FloatField(allow_null=True)


class InputBoundSerializer(Shape):
    """One input: the half-width it is known to, and the one that would do; units are UCUM's."""

    source = serializers.CharField()  # type: ignore[assignment]
    unit = serializers.CharField()
    present = serializers.FloatField()
    needed = serializers.FloatField()


class SettlementSerializer(Shape):
    """What would settle a stage short of clear."""

    needed_u_a = number()
    needed_guard_band_a = number()
    single_inputs = InputBoundSerializer(many=True)
    together = serializers.ListField(child=serializers.CharField())
    capable_with = InputBoundSerializer(many=True)
    more_readings = serializers.CharField()
    readings_needed = serializers.IntegerField(allow_null=True)
    text = serializers.CharField()


class CircuitLinesSerializer(Shape):
    """What two straight lines through a cumulative pass say without a specification."""

    source_voltage_v = number()
    upstream_resistance_mohm = number()
    upstream_expanded_uncertainty_mohm = number()
    upstream_curved = serializers.BooleanField()
    stage_resistance_mohm = number()
    stage_expanded_uncertainty_mohm = number()
    shared_ground_resistance_mohm = number()
    shared_ground_expanded_uncertainty_mohm = number()
    shared_ground_curved = serializers.BooleanField()


class StagePreviewSerializer(Shape):
    """What one stage should draw, and whether these meters could pass it."""

    stage = serializers.IntegerField()
    expected_current_a = number()
    expected_normalised_current_a = number()
    expanded_uncertainty_a = number()
    lower_limit_a = number()
    upper_limit_a = number()
    guard_band_a = number()
    capability = number()
    can_pass = serializers.BooleanField()
    undetermined_reason = serializers.CharField(allow_null=True)
    would_do = InputBoundSerializer(many=True)


class PreviewAnswerSerializer(Shape):
    """What to expect of a check before it."""

    stages = StagePreviewSerializer(many=True)
    supply_voltage_v = serializers.FloatField()
    supply_voltage_assumed = serializers.BooleanField()
    coil_temperature_c = serializers.FloatField()
    coil_temperature_bound_c = serializers.FloatField()
    coil_temperature_assumed = serializers.BooleanField()
    decision_rule = serializers.CharField()
