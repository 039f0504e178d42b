"""How the organisation judges: its rule and calibration policy, its bounds, limits and lists, and their revisions."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from accounts.models import DECISION_RULES, Organisation
from api.fields import Flag, OneOf, Quantity, Text
from api.serializers.apart import Code, LimitsSerializer
from api.serializers.filing import FloatQuantity
from api.serializers.rows import RatingRowSerializer, RowSerializer
from api.serializers.shapes import Shape
from calc.temperature import USUAL_BOUND_C
from fleet.models import RetarderType
from inspections.limits import SYSTEMS_V, OwnLimits
from inspections.models import LimitsRevision
from inspections.services.limits import HIGHEST_BOUND_C, LONGEST_NAME, MOST_ITEMS
from inspections.survey_items import NUMBERS_MM, Item

RULES = [code for code, _words in DECISION_RULES]
HIGHEST_MM = 1_000


class BoundsSerializer(serializers.Serializer[Any]):
    """Usual bounds of the coil temperature by how it was obtained; what is absent is the built-in one. [°C]"""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Return a field for each method."""
        return {name: Quantity(above=True, high=HIGHEST_BOUND_C, required=False) for name in USUAL_BOUND_C}


class LimitsBySystemSerializer(serializers.Serializer[Any]):
    """Limits of what is judged apart from the amps, for 12 V and for 24 V systems.

    A system that is absent keeps its limits; one that is given has these and no others, `{}` none.
    """

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Return the limits of each system."""
        return {str(system): LimitsSerializer(required=False) for system in SYSTEMS_V}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Leave out what is null: it has no limit."""
        return {
            system: {name: limit for name, limit in limits.items() if limit is not None}
            for system, limits in attrs.items()
        }


class ItemSerializer(serializers.Serializer[Any]):
    """One item of a list: a new one has no code, and an empty name is the built-in item's own."""

    code = Code(required=False, allow_null=True)
    name = Text(max_length=LONGEST_NAME, required=False, allow_blank=True)
    hidden = Flag(required=False)

    def validate(self, attrs: dict[str, Any]) -> Any:
        """Return the item."""
        return Item(attrs.get("code") or "", attrs.get("name", ""), attrs.get("hidden", False))


class RulesFormSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is absent stays.

    Bounds and lists are given whole, and so are the limits of each system that is given.
    """

    decision_rule = OneOf(RULES, required=False)
    max_false_accept_probability = FloatQuantity(above=True, high=0.5, required=False, allow_null=True)
    calibration_required = Flag(required=False)
    temperature_bounds_c = BoundsSerializer(required=False)
    limits = LimitsBySystemSerializer(required=False)
    control_items = serializers.ListField(child=ItemSerializer(), required=False, max_length=MOST_ITEMS)
    mechanical_items = serializers.ListField(child=ItemSerializer(), required=False, max_length=MOST_ITEMS)


class ListedItemSerializer(Shape):
    """One item of a list, in the words a person reads."""

    code = serializers.CharField()
    name = serializers.CharField()
    words = serializers.CharField()
    hidden = serializers.BooleanField()


class RulesSerializer(Shape):
    """What a check of now is judged by; revision 0 has set no bounds, limits or lists."""

    decision_rule = serializers.CharField()
    max_false_accept_probability = serializers.FloatField(allow_null=True)
    calibration_required = serializers.BooleanField()
    revision = serializers.IntegerField()
    temperature_bounds_c = serializers.DictField(child=serializers.FloatField())
    built_in_temperature_bounds_c = serializers.DictField(child=serializers.FloatField())
    limits = serializers.DictField(child=serializers.DictField(child=serializers.FloatField()))
    control_items = ListedItemSerializer(many=True)
    mechanical_items = ListedItemSerializer(many=True)


def rules_answer(organisation: Organisation, own: OwnLimits) -> dict[str, Any]:
    """Return how an organisation judges, as the machines' door says it."""
    answer: dict[str, Any] = RulesSerializer(
        {
            "decision_rule": organisation.decision_rule,
            "max_false_accept_probability": organisation.max_false_accept_probability,
            "calibration_required": organisation.calibration_required,
            "revision": own.number,
            "temperature_bounds_c": own.temperature_bounds_c,
            "built_in_temperature_bounds_c": USUAL_BOUND_C,
            "limits": own.limits,
            "control_items": _listed(own.control_items),
            "mechanical_items": _listed(own.mechanical_items),
        }
    ).data
    return answer


def _listed(items: Iterable[Item]) -> list[dict[str, Any]]:
    return [{"code": item.code, "name": item.name, "words": item.word, "hidden": item.hidden} for item in items]


class LimitsRevisionSerializer(RowSerializer):
    """Bounds, limits and lists as they held from a moment on; an empty list is the built-in one."""

    revision = serializers.IntegerField(source="number", read_only=True)
    temperature_bounds_c = serializers.DictField(child=serializers.FloatField(), read_only=True)
    limits = serializers.DictField(child=serializers.DictField(child=serializers.FloatField()), read_only=True)
    entered_by = serializers.CharField(source="entered_by.username", read_only=True, allow_null=True, default=None)
    entered_at = serializers.DateTimeField(source="created_at", read_only=True)

    class Meta:
        model = LimitsRevision
        fields = [
            "id", "revision", "temperature_bounds_c", "limits", "control_items", "mechanical_items", "entered_by",
            "entered_at", "changed_at",
        ]  # fmt: skip


class TypeOnFileSerializer(RowSerializer):
    """A type of retarder, with the rating that its units are judged by."""

    rating = serializers.SerializerMethodField()

    class Meta:
        model = RetarderType
        fields = ["id", "designation", "stages", "identified", "rating", "changed_at"]

    def get_rating(self, kind: RetarderType) -> Any:
        """Return the newest revision, null where none is on file."""
        newest = max(kind.revisions.all(), key=lambda revision: revision.number, default=None)
        return None if newest is None else RatingRowSerializer(newest).data


class EndsSerializer(serializers.Serializer[Any]):
    """A lower and an upper limit; null is none. [mm]"""

    lower_limit = Quantity(low=0, high=HIGHEST_MM, required=False, allow_null=True)
    upper_limit = Quantity(low=0, high=HIGHEST_MM, required=False, allow_null=True)


class SurveyLimitsSerializer(serializers.Serializer[Any]):
    """What the numbers of the mechanical survey are held against, item by item; what is absent has no limits."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Return the ends of each item that has numbers."""
        return {code: EndsSerializer(required=False) for code in NUMBERS_MM}


class SurveyLimitsFormSerializer(serializers.Serializer[Any]):
    """A type's limits, whole, and where they come from."""

    survey_limits = SurveyLimitsSerializer()
    reason = Text(max_length=500)

    def validate_survey_limits(self, limits: Mapping[str, Any]) -> dict[str, Any]:
        """Refuse a lower limit above the upper one."""
        for code, ends in limits.items():
            low, high = ends.get("lower_limit"), ends.get("upper_limit")
            if low is not None and high is not None and low > high:
                words = _("%(low)s to %(high)s leaves nothing between: the lower limit comes first.")
                detail = words % {"low": low, "high": high}
                raise serializers.ValidationError({code: {"upper_limit": [detail]}}, "order")
        return dict(limits)
