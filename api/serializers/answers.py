"""The shapes of answers, for the schema; the answers themselves are built where their content is known."""

from typing import Any

from rest_framework import serializers

from api.answers import inspection_row
from api.fields import Instant
from api.serializers.apart import (
    BatterySerializer,
    LimitsSerializer,
    SurveyItemSerializer,
    TemperatureInputsSerializer,
)
from api.serializers.readings import (
    ExtraReadingSerializer,
    RestSerializer,
    StageNotReadSerializer,
    StageReadingSerializer,
)
from api.serializers.rows import DepotStampSerializer, VehicleStampSerializer
from api.serializers.shapes import CircuitLinesSerializer, SettlementSerializer, Shape, number


class BudgetLineSerializer(Shape):
    """One source of uncertainty and its share of the variance."""

    source = serializers.CharField()  # type: ignore[assignment]
    variance_share = serializers.FloatField()
    u_a = serializers.FloatField()


class StageAnswerSerializer(Shape):
    """The verdict on one stage."""

    stage = serializers.IntegerField()
    verdict = serializers.CharField()
    undetermined_reason = serializers.CharField(allow_null=True)
    supply_voltage_v = serializers.FloatField()
    current_a = serializers.FloatField()
    normalised_current_a = number()
    expanded_uncertainty_a = number()
    coverage_factor = number()
    lower_limit_a = number()
    upper_limit_a = number()
    conformance_probability = number()
    capability = number()
    level_percent = number()
    expanded_uncertainty_percent = number()
    budget = BudgetLineSerializer(many=True)
    guard_band_a = number()
    simple_verdict = serializers.CharField()
    action = serializers.CharField()
    settle = SettlementSerializer(allow_null=True)


class ReasonSerializer(Shape):
    """Why a verdict is not a plain pass."""

    code = serializers.CharField()
    stage = serializers.IntegerField(allow_null=True)
    params = serializers.DictField()
    text = serializers.CharField()


class FindingSerializer(ReasonSerializer):
    """Something to be said beside the amps."""

    severity = serializers.CharField()


class PartnerSerializer(Shape):
    """A second cause that has to hold beside the first."""

    cause = serializers.CharField()
    stage = serializers.IntegerField(allow_null=True)


class HypothesisSerializer(Shape):
    """A likely cause; causes that the readings cannot tell apart share a group."""

    cause = serializers.CharField()
    stage = serializers.IntegerField(allow_null=True)
    probability = serializers.FloatField()
    group = serializers.IntegerField()
    remedy = serializers.CharField()
    together_with = PartnerSerializer(many=True)


class TorqueShareRangeSerializer(Shape):
    """Braking torque left, electrical part only, between exponent 1 and 2 of the current."""

    cold = serializers.ListField(child=serializers.FloatField())
    at_150_c = serializers.ListField(child=serializers.FloatField())


class JudgementAnswerSerializer(Shape):
    """A judgement."""

    verdict = serializers.CharField()
    verdict_reasons = ReasonSerializer(many=True)
    stages = StageAnswerSerializer(many=True)
    imbalance_percent = number()
    imbalance_expanded_uncertainty_percent = number()
    simple_verdict = serializers.CharField()
    action = serializers.CharField()
    apart = serializers.DictField(child=serializers.CharField())
    circuit_lines = CircuitLinesSerializer(allow_null=True)
    torque_share_percent = number()
    torque_share_range_percent = TorqueShareRangeSerializer(allow_null=True)
    findings = FindingSerializer(many=True)
    hypotheses = HypothesisSerializer(many=True)
    next_reading = serializers.JSONField(allow_null=True)
    method_version = serializers.CharField()
    decision_rule = serializers.CharField()
    caution = serializers.CharField()


class GivenJudgementSerializer(JudgementAnswerSerializer):
    """A judgement as it was given: when, by whom, on which rating."""

    number = serializers.IntegerField()
    judged_at = Instant()
    judged_by = serializers.CharField(allow_null=True)
    reason = serializers.CharField()
    rating_revision = serializers.IntegerField()


class InspectionRowSerializer(Shape):
    """A stored inspection."""

    id = serializers.UUIDField()
    installation = serializers.UUIDField()
    vehicle = VehicleStampSerializer()
    depot = DepotStampSerializer()
    performed_at = Instant()
    performed_on = serializers.DateField()
    received_at = Instant()
    recorded_by = serializers.CharField()
    purpose = serializers.CharField()
    engine_state = serializers.CharField(allow_null=True)
    coil_temperature_method = serializers.CharField()
    coil_temperature_c = number()
    coil_temperature_bound_c = number()
    ammeter = serializers.UUIDField()
    voltmeter = serializers.UUIDField()
    rest = RestSerializer(allow_null=True)
    stage_readings = StageReadingSerializer(many=True)
    extra_readings = ExtraReadingSerializer(many=True, allow_null=True)
    stages_not_read = StageNotReadSerializer(many=True, allow_null=True)
    retest_of = serializers.ListField(child=serializers.UUIDField(), allow_null=True)
    notes = serializers.CharField(allow_null=True)
    temperature_inputs = TemperatureInputsSerializer(allow_null=True)
    limits = LimitsSerializer(allow_null=True)
    battery = BatterySerializer(allow_null=True)
    control_check = serializers.DictField(child=serializers.CharField(), allow_null=True)
    mechanical_survey = SurveyItemSerializer(many=True, allow_null=True)
    clock_ahead = serializers.BooleanField()
    signed_at = Instant(allow_null=True)
    signed_by = serializers.CharField(allow_null=True)
    superseded_by = serializers.UUIDField(allow_null=True)
    superseded_reason = serializers.CharField(allow_null=True)
    verdict = serializers.CharField()
    decision_rule = serializers.CharField()
    method_version = serializers.CharField()
    changed_at = Instant()

    def to_representation(self, instance: Any) -> Any:
        """Return the row; its document is built in one place for lists and details."""
        return inspection_row(instance)


class InspectionAnswerSerializer(InspectionRowSerializer, JudgementAnswerSerializer):
    """A stored inspection with its judgement's fields beside its own."""

    judgement = GivenJudgementSerializer()


class BulkResultSerializer(Shape):
    """How one item of a batch fared."""

    id = serializers.CharField(allow_null=True)
    status = serializers.IntegerField()
    body = serializers.DictField()


class BulkAnswerSerializer(Shape):
    """How each item of a batch fared, in the order sent."""

    results = BulkResultSerializer(many=True)


class ExtraReadingAnswerSerializer(ExtraReadingSerializer):
    """A stored extra reading, with the likely causes as they stand."""

    id = serializers.UUIDField()
    inspection = serializers.UUIDField()
    received_at = Instant()
    hypotheses = HypothesisSerializer(many=True)
    next_reading = serializers.JSONField(allow_null=True)


class TrendPointSerializer(Shape):
    """A stage's level at one visit, in percent of rated."""

    performed_at = Instant()
    level_percent = serializers.FloatField()
    expanded_uncertainty_percent = serializers.FloatField()


class StageTrendSerializer(Shape):
    """A stage's levels over time; null where nothing has been fitted."""

    stage = serializers.IntegerField()
    points = TrendPointSerializer(many=True)
    slope_percent_per_year = number()
    slope_low = number()
    slope_high = number()
    level_percent = number()
    declining = serializers.BooleanField()
    crosses_lower_limit_on = serializers.DateField(allow_null=True)
    crosses_earliest_on = serializers.DateField(allow_null=True)
    crosses_latest_on = serializers.DateField(allow_null=True)


class TrendSerializer(Shape):
    """An installation's trend."""

    stages = StageTrendSerializer(many=True)
    attribution = serializers.CharField(allow_null=True)
    method = serializers.CharField(allow_null=True)
    method_version = serializers.CharField(allow_null=True)
