"""Sets judged anew: what is asked, and what is answered."""

from typing import Any

from rest_framework import serializers

from accounts.models import DECISION_RULES
from api.fields import Id, OneOf, Quantity, Text, Whole
from inspections.corrections import CORRECTION_KEYS
from inspections.models import RejudgedVerdict, Rejudging
from inspections.services.rejudging_runs import counted_changes

CHANGED_SHOWN = 200


class SelectionSerializer(serializers.Serializer[Any]):
    """Which checks; what is absent narrows nothing."""

    retarder_type = Id(required=False)
    revision = Whole(low=1, high=1_000_000, required=False)
    meter = Id(required=False)
    since = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])
    until = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])
    depot = Id(required=False)
    installation = Id(required=False)
    retarder = Id(required=False)
    calibration = Id(required=False)


class TermsSerializer(serializers.Serializer[Any]):
    """Under what they are judged anew; what is absent stays as each was judged before."""

    rating = OneOf(["newest", "as_judged"], required=False)
    decision_rule = OneOf([code for code, _label in DECISION_RULES], required=False)
    max_false_accept_probability = Quantity(above=True, high=0.5, required=False)
    tolerance_lower_percent = Quantity(above=True, high=100, required=False)
    tolerance_upper_percent = Quantity(above=True, high=100, required=False)
    corrections = serializers.DictField(child=Quantity(low=-1_000_000), required=False)

    def validate_corrections(self, corrections: dict[str, Any]) -> dict[str, str]:
        """Refuse a correction that no meter has."""
        if unknown := sorted(corrections.keys() - CORRECTION_KEYS):
            raise serializers.ValidationError(f"{unknown[0]}: {', '.join(sorted(CORRECTION_KEYS))}", "unknown")
        return {key: str(value) for key, value in corrections.items()}


class RejudgingFormSerializer(serializers.Serializer[Any]):
    """A set to be judged anew, with the reason; the id is the client's."""

    id = Id(client_made=True)
    selection = SelectionSerializer()
    terms = TermsSerializer(required=False)
    reason = Text(max_length=2_000)


class ChangeSerializer(serializers.Serializer[Any]):
    """How many checks go from one verdict to another."""

    before = serializers.CharField()
    after = serializers.CharField()
    count = serializers.IntegerField()


class ChangedVerdictSerializer(serializers.ModelSerializer[Any]):
    """A check whose verdict would change, or did."""

    inspection = serializers.UUIDField(source="inspection.uuid")
    before = serializers.CharField(source="verdict_before")
    after = serializers.CharField(source="verdict_after")

    class Meta:
        model = RejudgedVerdict
        fields = ["inspection", "before", "after"]


class RejudgingSerializer(serializers.ModelSerializer[Any]):
    """A set judged anew: how far it has come."""

    id = serializers.UUIDField(source="uuid")
    requested_by = serializers.CharField(source="requested_by.username", allow_null=True, default=None)

    class Meta:
        model = Rejudging
        fields = [
            "id", "state", "selection", "terms", "reason", "requested_by", "requested_at", "total", "judged",
            "error", "finished_at", "changed_at",
        ]  # fmt: skip


class RejudgingReportSerializer(RejudgingSerializer):
    """The same with its report: how many change class and how, and the first of them."""

    changes = serializers.SerializerMethodField()
    changed = serializers.SerializerMethodField()

    class Meta(RejudgingSerializer.Meta):
        fields = [*RejudgingSerializer.Meta.fields, "changes", "changed"]

    def get_changes(self, row: Rejudging) -> list[dict[str, Any]]:
        """Count by pair of verdicts."""
        found = sorted(counted_changes(row).items())
        return [{"before": pair[0], "after": pair[1], "count": count} for pair, count in found]

    def get_changed(self, row: Rejudging) -> list[dict[str, Any]]:
        """Name the checks, the first 200."""
        rows = row.changed_verdicts.select_related("inspection").only(
            "inspection__uuid", "verdict_before", "verdict_after"
        )
        return list(ChangedVerdictSerializer(rows.order_by("pk")[:CHANGED_SHOWN], many=True).data)
