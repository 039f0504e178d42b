"""What lists can be narrowed by; a value of the wrong kind is refused, never ignored."""

from typing import Any
from uuid import UUID

import django_filters as filters
from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field

from accounts.instants import instant
from fleet.models import Installation, Vehicle
from fleet.vin import normalised_vin
from inspections.calibrations import looked_back_on, throws_doubt
from inspections.models import VERDICTS, Calibration, Decline, Defect, Inspection, Meter
from schedules.models import DUE_STATES, CheckPlan, DueDate, Reminder

FLAGS = {"true": True, "false": False}


class InstantFormField(forms.CharField):
    """An RFC 3339 instant in an address."""

    def to_python(self, value: Any) -> Any:
        """Return the instant; a plus sign that an address turned into a space is read as one."""
        text = super().to_python(value)
        if not text:
            return None
        try:
            return instant(text.replace(" ", "+"))
        except ValueError as error:
            raise ValidationError(str(error), code="invalid") from None


class InstantFilter(filters.Filter):  # type: ignore[misc]
    """Compare with an instant."""

    field_class = InstantFormField


@extend_schema_field({"type": "boolean"})
class FlagFilter(filters.TypedChoiceFilter):  # type: ignore[misc]
    """Compare with true or false, as JSON writes them."""

    def __init__(self, **kwargs: Any) -> None:
        """Take the two words and nothing else."""
        super().__init__(choices=[(word, word) for word in FLAGS], coerce=FLAGS.__getitem__, **kwargs)


class RowFilter(filters.FilterSet):  # type: ignore[misc]
    """Every list can be asked for what changed after an instant."""

    changed_after = InstantFilter(field_name="changed_at", lookup_expr="gt")

    def get_form_class(self) -> type[forms.Form]:
        """Return the form; an empty value would ask for everything and look like an answer."""

        class Filled(super().get_form_class()):  # type: ignore[misc]
            def clean(self) -> None:
                for name in self.fields:
                    if self.data.get(name) == "":
                        self.add_error(name, ValidationError(_("Give a value, or leave the filter out."), "blank"))

        return Filled


class VehicleFilter(RowFilter):
    """Vehicles by depot, plate, number or VIN."""

    depot = filters.UUIDFilter(field_name="depot__uuid")
    fleet_number = filters.CharFilter()
    registration = filters.CharFilter()
    vin = filters.CharFilter(method="filter_vin")
    in_service = FlagFilter()

    class Meta:
        model = Vehicle
        fields: list[str] = []

    def filter_vin(self, queryset: Any, name: str, value: str) -> Any:
        """Take the number with spaces and in small letters too."""
        return queryset.filter(vin=normalised_vin(value))


class InstallationFilter(RowFilter):
    """Installations by what is written on the vehicle and on the unit."""

    vehicle = filters.UUIDFilter(field_name="vehicle__uuid")
    depot = filters.UUIDFilter(field_name="vehicle__depot__uuid")
    fleet_number = filters.CharFilter(field_name="vehicle__fleet_number")
    registration = filters.CharFilter(field_name="vehicle__registration")
    vin = filters.CharFilter(method="filter_vin")
    serial_number = filters.CharFilter(field_name="retarder__serial_number")

    class Meta:
        model = Installation
        fields: list[str] = []

    def filter_vin(self, queryset: Any, name: str, value: str) -> Any:
        """Take the number with spaces and in small letters too."""
        return queryset.filter(vehicle__vin=normalised_vin(value))


class OfInstallationFilter(RowFilter):
    """Rows that belong to an installation."""

    installation = filters.UUIDFilter(field_name="installation__uuid")
    vehicle = filters.UUIDFilter(field_name="installation__vehicle__uuid")


class InspectionFilter(OfInstallationFilter):
    """Inspections by verdict and time."""

    verdict = filters.ChoiceFilter(choices=VERDICTS)
    performed_after = InstantFilter(field_name="performed_at", lookup_expr="gt")
    performed_before = InstantFilter(field_name="performed_at", lookup_expr="lt")
    unsigned = FlagFilter(field_name="signed_at", lookup_expr="isnull")
    in_doubt_of = filters.UUIDFilter(method="filter_in_doubt_of")

    class Meta:
        model = Inspection
        fields: list[str] = []

    def filter_in_doubt_of(self, queryset: Any, name: str, value: UUID) -> Any:
        """Take the checks that a calibration throws doubt on, none where there is no such calibration."""
        rows = Calibration.objects.of(self.request.auth.organisation).select_related("meter")
        calibration = rows.filter(uuid=value).first()
        if calibration is None or not throws_doubt(calibration):
            return queryset.none()
        return queryset.filter(pk__in=looked_back_on(calibration).values("pk"))


class DueFilter(OfInstallationFilter):
    """Due dates by state, day and depot."""

    state = filters.ChoiceFilter(choices=DUE_STATES)
    depot = filters.UUIDFilter(field_name="depot__uuid")
    due_before = filters.DateFilter(field_name="due_on", lookup_expr="lt", input_formats=["%Y-%m-%d"])

    class Meta:
        model = DueDate
        fields: list[str] = []


class CheckPlanFilter(OfInstallationFilter):
    """Check plans by installation."""

    class Meta:
        model = CheckPlan
        fields: list[str] = []


class ReminderFilter(OfInstallationFilter):
    """Reminders by installation and stage."""

    lead_stage = filters.ChoiceFilter(choices=Reminder.STAGES)

    class Meta:
        model = Reminder
        fields: list[str] = []


class DefectFilter(OfInstallationFilter):
    """Defects by state."""

    state = filters.ChoiceFilter(choices=Defect.STATES)

    class Meta:
        model = Defect
        fields: list[str] = []


class DeclineFilter(OfInstallationFilter):
    """Declines by state."""

    state = filters.ChoiceFilter(choices=Decline.STATES)

    class Meta:
        model = Decline
        fields: list[str] = []


class MeterFilter(RowFilter):
    """Meters by kind and by what is written on them."""

    kind = filters.ChoiceFilter(choices=Meter.KINDS)
    designation = filters.CharFilter()
    serial_number = filters.CharFilter()

    class Meta:
        model = Meter
        fields: list[str] = []
