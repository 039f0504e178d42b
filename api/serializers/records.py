"""The shape of one inspection's whole record, for the schema."""

from typing import Any

from rest_framework import serializers

from api.fields import Instant
from api.serializers.answers import InspectionRowSerializer
from api.serializers.rows import CalibrationSerializer, RatingRowSerializer
from api.serializers.shapes import Shape, number


class CalibrationsOfTheDaySerializer(Shape):
    """The newest calibration of each meter by the day of the check, null where none was on file."""

    ammeter = CalibrationSerializer(allow_null=True)
    voltmeter = CalibrationSerializer(allow_null=True)


class RecordRatingSerializer(RatingRowSerializer):
    """A rating revision with why it was entered, when and by whom."""

    reason = serializers.CharField()
    entered_at = Instant(source="created_at")
    entered_by = serializers.CharField(source="entered_by.username", allow_null=True, default=None)

    class Meta(RatingRowSerializer.Meta):
        fields = [*RatingRowSerializer.Meta.fields, "reason", "entered_at", "entered_by"]


class RecordJudgementSerializer(Shape):
    """A judgement as it was given; `result` holds codes and numbers, unrounded."""

    id = serializers.UUIDField()
    max_false_accept_probability = number()
    number = serializers.IntegerField()
    verdict = serializers.CharField()
    decision_rule = serializers.CharField()
    method_version = serializers.CharField()
    rating = RecordRatingSerializer()
    corrections = serializers.DictField(child=serializers.CharField())
    reason = serializers.CharField()
    judged_at = Instant()
    judged_by = serializers.CharField(allow_null=True)
    result = serializers.JSONField()


class RecordExtraReadingSerializer(Shape):
    """A reading that was added to the stored inspection, digits as typed."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    stage = serializers.IntegerField(allow_null=True)
    coil = serializers.IntegerField(allow_null=True)
    energised = serializers.ListField(child=serializers.IntegerField())
    value = serializers.CharField(allow_null=True)
    over_range = serializers.BooleanField()
    received_at = Instant()
    recorded_by = serializers.CharField()
    content_hash = serializers.CharField()


class SignatureSerializer(Shape):
    """Who signed, when, and what the signature means."""

    signed_at = Instant()
    signed_by = serializers.CharField()
    meaning = serializers.CharField()


class ReplacementSerializer(Shape):
    """The inspection on the other side of a replacement, and why there was one."""

    id = serializers.UUIDField()
    reason = serializers.CharField()


class AuditEntrySerializer(Shape):
    """An entry of the audit stream.

    `hash` is SHA-256 over the bytes of `previous_hash` and the RFC 8785 form of the whole `record`.  Its `address`
    and `request_id` are told to managers and administrators only, and so are both hashes, null to others: from them the
    address could be found by trying each.
    """

    sequence = serializers.IntegerField()
    at = Instant()
    actor = serializers.CharField(allow_null=True)
    on_behalf_of = serializers.CharField(allow_null=True)
    action = serializers.CharField()
    record = serializers.JSONField()
    previous_hash = serializers.CharField(allow_null=True)
    hash = serializers.CharField(allow_null=True)


class InspectionRecordSerializer(Shape):
    """Everything that belongs to one inspection."""

    inspection = InspectionRowSerializer()
    # What was read, digits as typed.
    evidence = serializers.JSONField()
    content_hash = serializers.CharField()
    rating = RecordRatingSerializer()
    calibrations = CalibrationsOfTheDaySerializer()
    decision_rule = serializers.CharField()
    max_false_accept_probability = number()
    judgements = RecordJudgementSerializer(many=True)
    extra_readings = RecordExtraReadingSerializer(many=True)
    signature = SignatureSerializer(allow_null=True)
    supersedes = ReplacementSerializer(allow_null=True)
    superseded_by = ReplacementSerializer(allow_null=True)
    audit_entries = AuditEntrySerializer(many=True)
    caution = serializers.CharField()

    def to_representation(self, instance: Any) -> Any:
        """Return the answer, which is built where its content is known."""
        return instance
