"""What is judged apart from the amps, and what a coil temperature rests on, as clients send them."""

import re
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from api.fields import Flag, OneOf, Quantity, shown

CHECKED = ["good", "bad", "not_checked"]
SURFACES = ["winding", "bare_metal", "painted_metal"]
MOST_ITEMS = 100
MOST_NUMBERS = 20
_CODE = re.compile(r"[a-z][a-z0-9_]{0,39}")


class Code(serializers.CharField):
    """A word of small letters, digits and underscores."""

    default_error_messages = {"code": _("{value} is not allowed; allowed are small letters, digits and underscores.")}

    def to_internal_value(self, data: Any) -> str:
        """Return the word."""
        if not isinstance(data, str) or not _CODE.fullmatch(data):
            self.fail("code", value=shown(data))
        return data


class LimitsSerializer(serializers.Serializer[Any]):
    """Limits that the user sets; what has none is not judged."""

    supply_voltage_low_v = Quantity(above=True, required=False, allow_null=True)
    supply_voltage_high_v = Quantity(above=True, required=False, allow_null=True)
    upstream_resistance_mohm = Quantity(above=True, required=False, allow_null=True)
    shared_ground_resistance_mohm = Quantity(above=True, required=False, allow_null=True)
    battery_at_rest_low_v = Quantity(above=True, required=False, allow_null=True)
    charging_low_v = Quantity(above=True, required=False, allow_null=True)
    charging_high_v = Quantity(above=True, required=False, allow_null=True)
    cable_drop_v = Quantity(above=True, required=False, allow_null=True)


class BatterySerializer(serializers.Serializer[Any]):
    """Volts across the battery posts, and what the alternator is rated for."""

    at_rest_v = Quantity(required=False, allow_null=True)
    charging_v = Quantity(required=False, allow_null=True)
    all_stages_on_v = Quantity(required=False, allow_null=True)
    after_10_s_v = Quantity(required=False, allow_null=True)
    alternator_rated_a = Quantity(above=True, required=False, allow_null=True)


class ControlCheckField(serializers.DictField):
    """Item by item: good, bad or not checked."""

    child = OneOf(CHECKED)

    def to_internal_value(self, data: Any) -> Any:
        """Return the items; their names are words."""
        items = super().to_internal_value(data)
        if len(items) > MOST_ITEMS:
            raise serializers.ValidationError(_("More than %(most)s items.") % {"most": MOST_ITEMS}, "max_length")
        return {Code().run_validation(name): state for name, state in items.items()}


class SurveyItemSerializer(serializers.Serializer[Any]):
    """One item of the mechanical survey: as found, or judged by its numbers where limits are given."""

    code = Code()
    status = OneOf(CHECKED, required=False, allow_null=True)
    values = serializers.ListField(
        child=Quantity(low=-1_000_000), required=False, allow_null=True, max_length=MOST_NUMBERS
    )
    lower_limit = Quantity(low=-1_000_000, required=False, allow_null=True)
    upper_limit = Quantity(low=-1_000_000, required=False, allow_null=True)


class MeterRangeSerializer(serializers.Serializer[Any]):
    """One range of a meter, with its own accuracy and resolution."""

    range_max = Quantity(above=True)
    accuracy_percent = Quantity(high=100)
    accuracy_counts = Quantity(high=10_000)
    resolution = Quantity(above=True, high=1_000)


def ranges_ascend(ranges: list[dict[str, Any]]) -> bool:
    """Tell whether ranges are given smallest first, each larger than the one before."""
    highest = [one["range_max"] for one in ranges]
    return all(low < high for low, high in pairwise(highest))


class TemperatureInputsSerializer(serializers.Serializer[Any]):
    """What a coil temperature rests on; which of it counts depends on the method."""

    surface = OneOf(SURFACES, required=False, allow_null=True)
    driven_before = Flag(required=False, allow_null=True)
    hours_parked = Quantity(required=False, allow_null=True)
    moved_indoors = Flag(required=False, allow_null=True)
    air_temperature_c = Quantity(low=-60, high=300, required=False, allow_null=True)
    resistance_now_ohm = Quantity(low=0.000001, required=False, allow_null=True)
    resistance_now_bound_ohm = Quantity(required=False, allow_null=True)
    resistance_cold_ohm = Quantity(low=0.000001, required=False, allow_null=True)
    resistance_cold_bound_ohm = Quantity(required=False, allow_null=True)
    cold_temperature_c = Quantity(low=-60, high=300, required=False, allow_null=True)
    cold_temperature_bound_c = Quantity(high=300, required=False, allow_null=True)
    start_temperature_c = Quantity(low=-60, high=300, required=False, allow_null=True)
    start_temperature_bound_c = Quantity(high=300, required=False, allow_null=True)
    minutes_since_stop = Quantity(high=100_000, required=False, allow_null=True)
    time_constant_minutes = Quantity(low=1, high=10_000, required=False, allow_null=True)
