"""What clients put on file and change: vehicles, fittings, meters with their calibrations, check plans."""

import datetime as dt
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from api.fields import Flag, Id, OneOf, Quantity, Text, Whole
from api.serializers.apart import MeterRangeSerializer
from api.serializers.instruments import MOST_POINTS, MOST_RANGES, CalibrationPointSerializer
from api.serializers.previews import Day
from api.serializers.readings import CablesSerializer
from fleet.models import Installation
from inspections.documents import stored_document
from inspections.models import Meter
from schedules.models import MOST

EARLIEST, LATEST = dt.date(1950, 1, 1), dt.date(2200, 12, 31)


class DayOnFile(Day):
    """A date that a vehicle, a meter or a plan can have."""

    default_error_messages = {"range": _("{value} is out of range; allowed is {low} to {high}.")}

    def to_internal_value(self, value: Any) -> dt.date:
        """Return the date."""
        day = super().to_internal_value(value)
        if not EARLIEST <= day <= LATEST:
            self.fail("range", value=day, low=EARLIEST, high=LATEST)
        return day


class FloatQuantity(Quantity):
    """A number that is kept as a float column."""

    def to_internal_value(self, data: Any) -> Any:
        """Return the number."""
        return float(super().to_internal_value(data))


class VehicleFormSerializer(serializers.Serializer[Any]):
    """A vehicle; a VIN that is none needs a reason."""

    depot = Id()
    fleet_number = Text(max_length=40)
    registration = Text(max_length=20, required=False, allow_blank=True)
    vin = Text(max_length=40, required=False, allow_blank=True)
    vin_exception = Text(max_length=200, required=False, allow_blank=True)
    make = Text(max_length=100, required=False, allow_blank=True)
    model_year = Whole(low=1900, high=2100, required=False, allow_null=True)
    system_voltage_v = Whole(low=12, high=24)
    operator = Text(max_length=200, required=False, allow_blank=True)
    alternator_rated_a = FloatQuantity(above=True, high=10_000, required=False, allow_null=True)
    in_service = Flag(required=False)


class InstallationFormSerializer(serializers.Serializer[Any]):
    """When and how a retarder is fitted; what it is and where does not change."""

    mounting = Text(max_length=100, required=False, allow_blank=True)
    return_path = OneOf(Installation.RETURNS, required=False)
    cables = CablesSerializer(required=False)
    fitted_on = DayOnFile(required=False, allow_null=True)
    removed_on = DayOnFile(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Hand cables on as they are kept: lengths with the digits as typed."""
        if "cables" in attrs:
            attrs["cables"] = stored_document(attrs["cables"])
        return attrs


class MeterFiguresFormSerializer(serializers.Serializer[Any]):
    """What can change about a meter; its accuracy is one set of figures, or a list of ranges, smallest first."""

    designation = Text(max_length=100)
    serial_number = Text(max_length=60, required=False, allow_blank=True)
    accuracy_percent = FloatQuantity(high=100, required=False, allow_null=True)
    accuracy_counts = FloatQuantity(high=10_000, required=False, allow_null=True)
    resolution = FloatQuantity(above=True, high=1_000, required=False, allow_null=True)
    range_max = FloatQuantity(above=True, required=False, allow_null=True)
    ranges = serializers.ListField(
        child=MeterRangeSerializer(), required=False, allow_null=True, max_length=MOST_RANGES
    )
    calibration_due_on = DayOnFile(required=False, allow_null=True)
    retired_on = DayOnFile(required=False, allow_null=True)


class MeterFormSerializer(MeterFiguresFormSerializer):
    """A clamp or a voltmeter."""

    kind = OneOf(Meter.KINDS)


class CalibrationFormSerializer(serializers.Serializer[Any]):
    """A calibration as its certificate says; what is not stated follows from the points as found and as left."""

    id = Id(client_made=True, required=False, source="uuid")
    performed_on = DayOnFile()
    due_on = DayOnFile(required=False, allow_null=True, default=None)
    certificate = Text(max_length=100, required=False, allow_blank=True)
    passed = Flag(required=False)
    found_in_tolerance = Flag(required=False)
    as_found = serializers.ListField(
        child=CalibrationPointSerializer(), required=False, allow_null=True, max_length=MOST_POINTS
    )
    as_left = serializers.ListField(
        child=CalibrationPointSerializer(), required=False, allow_null=True, max_length=MOST_POINTS
    )
    note = Text(max_length=2_000, required=False, allow_blank=True)


class CheckPlanFiguresFormSerializer(serializers.Serializer[Any]):
    """How often, whichever comes first; at least one of months, days, km and hours."""

    months = Whole(low=1, high=MOST["months"], required=False, allow_null=True)
    days = Whole(low=1, high=MOST["days"], required=False, allow_null=True)
    km = FloatQuantity(above=True, high=Decimal(MOST["km"]), required=False, allow_null=True)
    hours = FloatQuantity(above=True, high=Decimal(MOST["hours"]), required=False, allow_null=True)
    anchor_on = DayOnFile(required=False, allow_null=True)
    lead_days = Whole(low=0, high=3_650, required=False)
    pass_required = Flag(required=False)
    source = Text(max_length=300, required=False, allow_blank=True)  # type: ignore[assignment]


class CheckPlanFormSerializer(CheckPlanFiguresFormSerializer):
    """A check plan of an installation."""

    installation = Id()
