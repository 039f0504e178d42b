"""Readings as clients send them, for judging with and without storing."""

from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from api.fields import Flag, Id, OneOf, Quantity, Text, Whole
from api.serializers.apart import (
    MOST_ITEMS,
    BatterySerializer,
    ControlCheckField,
    LimitsSerializer,
    MeterRangeSerializer,
    SurveyItemSerializer,
    TemperatureInputsSerializer,
    ranges_ascend,
)
from calc.columns import LOWEST_RATED_CURRENT_A
from calc.evidence import Rating, rating_not_identified
from calc.temperature import worked_out
from fleet.models import MAX_STAGES
from inspections.evidence_apart import temperature_inputs_of
from inspections.models import ENGINE_STATES, EXTRA_READING_KINDS, TEMPERATURE_METHODS

MOST_READINGS = 200
RULES = ["guarded", "simple", "max_false_accept"]
EXTRA_READING_CHOICES = [(kind, kind) for kind in EXTRA_READING_KINDS]
ASSUMED_TOLERANCE_PERCENT = Decimal(10)
# What "cold" is taken for where a rating states no temperature.
ASSUMED_REFERENCE_C = Decimal(20)
LARGEST_CURRENT_A = Decimal(1_000_000)
LOWEST_RATED_A = Decimal(str(LOWEST_RATED_CURRENT_A))


class Stages(serializers.ListField):
    """Stage numbers; whether the unit has them is checked against its rating."""

    child = Whole(low=1, high=MAX_STAGES)

    def __init__(self, **kwargs: Any) -> None:
        """Take at most one entry a stage."""
        super().__init__(max_length=MAX_STAGES, **kwargs)


class RestSerializer(serializers.Serializer[Any]):
    """Volts and amps with everything off."""

    supply_voltage_v = Quantity()
    current_a = Quantity(low=-LARGEST_CURRENT_A)


class StageReadingSerializer(serializers.Serializer[Any]):
    """Volts at the box and total amps, read together with `energised` commanded."""

    stage = Whole(low=1, high=MAX_STAGES)
    energised = Stages(allow_empty=False)
    supply_voltage_v = Quantity()
    current_a = Quantity(low=-LARGEST_CURRENT_A)
    seconds_on = Quantity(required=False, allow_null=True)
    outputs_live = Stages(required=False, allow_null=True)
    lamps_lit = Stages(required=False, allow_null=True)


class ExtraReadingSerializer(serializers.Serializer[Any]):
    """A reading beyond volts and amps per stage; an open circuit on an ohm-meter has no value and is over range."""

    kind = OneOf(EXTRA_READING_CHOICES)
    stage = Whole(low=1, high=MAX_STAGES, required=False, allow_null=True)
    coil = Whole(low=1, high=64, required=False, allow_null=True)
    energised = Stages(required=False, allow_null=True)
    value = Quantity(low=-LARGEST_CURRENT_A, high=Decimal(1_000_000_000_000), required=False, allow_null=True)
    over_range = Flag(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for a value, or for over range and none."""
        over_range = attrs.setdefault("over_range", False)
        if (attrs.get("value") is None) != over_range:
            raise serializers.ValidationError(
                {"value": _("A value is needed, or null with over_range true.")}, "required"
            )
        return attrs


class ClientExtraReadingSerializer(ExtraReadingSerializer):
    """An extra reading under an id that the client made."""

    id = Id(client_made=True)


class StageNotReadSerializer(serializers.Serializer[Any]):
    """A stage that was not read, and why."""

    stage = Whole(low=1, high=MAX_STAGES)
    reason = Text(max_length=500)


class MeterFiguresSerializer(serializers.Serializer[Any]):
    """A meter's accuracy, ±(percent of reading + counts), its resolution and range in its own unit."""

    accuracy_percent = Quantity(high=100)
    accuracy_counts = Quantity(high=10_000)
    resolution = Quantity(above=True, high=1_000)
    range_max = Quantity(above=True, required=False, allow_null=True)
    ranges = serializers.ListField(child=MeterRangeSerializer(), required=False, allow_null=True, max_length=10)

    def validate_ranges(self, ranges: list[dict[str, Any]] | None) -> list[dict[str, Any]] | None:
        """Ask for the smallest range first."""
        if ranges and not ranges_ascend(ranges):
            raise serializers.ValidationError(_("Ranges are given smallest first."), "order")
        return ranges


class CableSerializer(serializers.Serializer[Any]):
    """A cable's size as printed on it, and its length."""

    size = Text(max_length=40, required=False, allow_null=True)
    length_m = Quantity(above=True, high=200, required=False, allow_null=True)


class CablesSerializer(serializers.Serializer[Any]):
    """The cables of the circuit, as far as they are known."""

    supply = CableSerializer(required=False, allow_null=True)
    stage = CableSerializer(required=False, allow_null=True)
    retarder_ground = CableSerializer(required=False, allow_null=True)
    chassis_ground = CableSerializer(required=False, allow_null=True)


class RatingSerializer(serializers.Serializer[Any]):
    """The rated figures of a unit; a reference voltage that the rating does not state is null.

    `identified` false: the type is not known, and no figure is; the stages are compared with each other.
    """

    identified = Flag(required=False, default=True)
    stages = Whole(low=1, high=MAX_STAGES)
    rated_current_a = Quantity(low=LOWEST_RATED_A, required=False, allow_null=True)
    rated_currents_a = serializers.ListField(
        child=Quantity(low=LOWEST_RATED_A), required=False, allow_null=True, min_length=1, max_length=MAX_STAGES
    )
    reference_voltage_v = Quantity(above=True, high=1_000, required=False, allow_null=True)
    reference_temperature_c = Quantity(low=-60, high=300, required=False, allow_null=True)
    tolerance_percent = Quantity(above=True, high=100, required=False, allow_null=True)
    tolerance_lower_percent = Quantity(above=True, high=100, required=False, allow_null=True)
    tolerance_upper_percent = Quantity(above=True, high=1_000, required=False, allow_null=True)
    system_voltage_v = Whole(low=6, high=48, required=False, default=24)
    coils_in_series = Whole(low=1, high=64, required=False, allow_null=True, default=1)
    coils_in_parallel = Whole(low=1, high=64, required=False, allow_null=True, default=1)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for one figure for all stages, or one for each."""
        one, each, stages = attrs.get("rated_current_a"), attrs.get("rated_currents_a"), attrs["stages"]
        if not attrs["identified"]:
            return _without_amps(attrs)
        if one is None and each is None:
            raise _needed("rated_current_a", _("Needed, unless rated_currents_a stands instead."))
        if each is not None and len(each) != stages:
            detail = _("%(found)s figures for %(stages)s stages; allowed is one a stage.")
            values = {"found": len(each), "stages": stages}
            raise serializers.ValidationError({"rated_currents_a": detail % values}, "length")
        return attrs


def _without_amps(attrs: dict[str, Any]) -> dict[str, Any]:
    for name in ("rated_current_a", "rated_currents_a"):
        if attrs.get(name) is not None:
            detail = _("The type is not identified, so it has no rated amps; leave them out.")
            raise serializers.ValidationError({name: detail}, "not_identified")
    return attrs


def rating_from(document: dict[str, Any]) -> Rating:
    """Return a checked rating as calc knows it; where it states no tolerance, ±10 % is assumed."""
    if not document["identified"]:
        return rating_not_identified(document["stages"], float(document["system_voltage_v"]))
    both = document.get("tolerance_percent")
    lower, upper = document.get("tolerance_lower_percent"), document.get("tolerance_upper_percent")
    assumed = both is None and lower is None and upper is None
    both = ASSUMED_TOLERANCE_PERCENT if assumed else both
    lower, upper = (both if lower is None else lower), (both if upper is None else upper)
    each = document.get("rated_currents_a") or [document["rated_current_a"]] * document["stages"]
    reference_voltage_v, reference_c = document.get("reference_voltage_v"), document.get("reference_temperature_c")
    return Rating(
        rated_currents_a=tuple(float(rated_a) for rated_a in each),
        reference_voltage_v=None if reference_voltage_v is None else float(reference_voltage_v),
        reference_temperature_c=float(ASSUMED_REFERENCE_C if reference_c is None else reference_c),
        reference_temperature_assumed=reference_c is None,
        tolerance_lower_percent=None if lower is None else float(lower),
        tolerance_upper_percent=None if upper is None else float(upper),
        tolerance_assumed=assumed,
        system_voltage_v=float(document["system_voltage_v"]),
        coils_in_series=document["coils_in_series"] or 1,
        coils_in_parallel=document["coils_in_parallel"] or 1,
    )


class ReadingsSerializer(serializers.Serializer[Any]):
    """What an assessment and an inspection have in common."""

    coil_temperature_c = Quantity(low=-60, high=300, required=False, allow_null=True)
    coil_temperature_bound_c = Quantity(high=300, required=False, allow_null=True)
    coil_temperature_method = OneOf(TEMPERATURE_METHODS, required=False, allow_null=True)
    engine_state = OneOf(ENGINE_STATES, required=False, allow_null=True)
    rest = RestSerializer(required=False, allow_null=True)
    stage_readings = serializers.ListField(child=StageReadingSerializer(), max_length=MOST_READINGS)
    extra_readings = serializers.ListField(
        child=ExtraReadingSerializer(), required=False, allow_null=True, max_length=MOST_READINGS
    )
    stages_not_read = serializers.ListField(
        child=StageNotReadSerializer(), required=False, allow_null=True, max_length=MAX_STAGES
    )
    temperature_inputs = TemperatureInputsSerializer(required=False, allow_null=True)
    limits = LimitsSerializer(required=False, allow_null=True)
    battery = BatterySerializer(required=False, allow_null=True)
    control_check = ControlCheckField(required=False, allow_null=True)
    mechanical_survey = serializers.ListField(
        child=SurveyItemSerializer(), required=False, allow_null=True, max_length=MOST_ITEMS
    )
    decision_rule = OneOf(RULES, required=False, allow_null=True)
    max_false_accept_probability = Quantity(above=True, high=0.5, required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for the temperature that a method gives, and for the probability that a rule needs."""
        attrs = {key: value for key, value in attrs.items() if value is not None}
        method = attrs.get("coil_temperature_method", "unknown")
        inputs = temperature_inputs_of(attrs)
        if "coil_temperature_c" not in attrs and method != "unknown" and worked_out(method, inputs) is None:
            raise _needed("coil_temperature_c", _("Needed with the method %(method)s.") % {"method": method})
        if attrs.get("decision_rule") == "max_false_accept" and "max_false_accept_probability" not in attrs:
            detail = _("Needed with max_false_accept; allowed is above 0 to 0.5.")
            raise _needed("max_false_accept_probability", detail)
        return attrs


def _needed(field: str, detail: Any) -> serializers.ValidationError:
    return serializers.ValidationError({field: detail}, "required")
