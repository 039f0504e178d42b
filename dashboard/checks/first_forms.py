"""The forms of a new book's first check: what is judged, and what is asked only once it is filed."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from accounts.models import Depot
from calc.temperature import USUAL_BOUND_C
from dashboard.checks.forms import STOOD, current_field, temperature_field, voltage_field
from dashboard.checks.numbers import TypedDecimal
from inspections.models import Meter

SYSTEMS = [("24", _("24 V")), ("12", _("12 V"))]
# How the page calls the two kinds of meter, and its figures.
METER_KINDS = {"clamp": "ammeter", "voltmeter": "voltmeter"}
METER_LABELS = {"clamp": _("Clamp on file"), "voltmeter": _("Voltmeter on file")}
ON_THE_PLATE = ("reference_voltage_v", "reference_temperature_c", "tolerance_percent")
FIGURES = {"percent": "accuracy_percent", "counts": "accuracy_counts", "resolution": "resolution"}


def _meters_on_file(meters: QuerySet[Meter]) -> dict[str, forms.Field]:
    kinds = set(meters.order_by().values_list("kind", flat=True))
    return {
        f"{name}_on_file": forms.ModelChoiceField(
            meters.filter(kind=kind),
            to_field_name="uuid",
            required=False,
            label=METER_LABELS[name],
            empty_label=_("another one, as typed here"),
            help_text=_("One that is chosen brings its figures with it."),
        )
        for name, kind in METER_KINDS.items()
        if kind in kinds
    }


class RatedCurrents(forms.CharField):
    """One number of amps for all stages, or one for each, with blanks between them."""

    def __init__(self, *, stages: int, **kwargs: Any) -> None:
        """Take how many numbers can be meant."""
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=100, widget=widget, **kwargs)
        self.stages = stages

    def clean(self, value: Any) -> list[Decimal]:
        """Return one number a stage."""
        amount = TypedDecimal(low=0.001, high=100_000)
        numbers = [amount.clean(part) for part in super().clean(value).replace(";", " ").split()]
        if len(numbers) not in (1, self.stages):
            raise forms.ValidationError(
                _("One number for all stages, or %(stages)s with blanks between."), params={"stages": self.stages}
            )
        return numbers * self.stages if len(numbers) == 1 else numbers


def counted_fields() -> dict[str, forms.Field]:
    """Return what can be counted and measured on a unit whose plate cannot be read."""
    return {
        "coils_counted": forms.IntegerField(label=_("Coils counted"), min_value=1, max_value=200, required=False),
        "leads_counted": forms.IntegerField(label=_("Leads counted"), min_value=1, max_value=200, required=False),
        "air_gap_mm": TypedDecimal(label=_("Air gap, mm"), low=0.01, high=100, required=False),
        "note": forms.CharField(
            label=_("What else may tell the type"),
            max_length=2000,
            required=False,
            widget=forms.Textarea(attrs={"rows": 2}),
        ),
    }


class PlateForm(forms.Form):
    """What the plate, the meters' booklets and the two displays say."""

    reference_voltage_v = TypedDecimal(
        label=_("at how many volts"), low=0.1, high=1000, required=False, help_text=_("Empty: the plate does not say.")
    )
    reference_temperature_c = TypedDecimal(
        label=_("and at °C"),
        low=-60,
        high=300,
        required=False,
        initial=20,
        help_text=_("Empty: not printed, 20 ± 5 °C is assumed."),
    )
    tolerance_percent = TypedDecimal(
        label=_("Tolerance ± %"), low=0.1, high=100, required=False, help_text=_("Empty: ± 10 % is assumed.")
    )
    system_voltage_v = forms.TypedChoiceField(
        label=_("Vehicle's system"), choices=SYSTEMS, coerce=int, widget=forms.RadioSelect, initial="24"
    )
    clamp_percent = TypedDecimal(label=_("Clamp: ± % of reading"), low=0, high=100)
    clamp_counts = TypedDecimal(label=_("plus counts"), low=0, high=10_000)
    clamp_resolution = TypedDecimal(label=_("one count is, A"), low=0.000001, high=1000, initial="0.1")
    voltmeter_percent = TypedDecimal(label=_("Voltmeter: ± % of reading"), low=0, high=100)
    voltmeter_counts = TypedDecimal(label=_("plus counts"), low=0, high=10_000)
    voltmeter_resolution = TypedDecimal(label=_("one count is, V"), low=0.000001, high=1000, initial="0.01")
    coil_temperature_method = forms.ChoiceField(
        label=_("How is the coil temperature known?"), choices=STOOD, widget=forms.RadioSelect, initial="parked"
    )
    coil_temperature_c = temperature_field(required=False)

    def __init__(
        self,
        *args: Any,
        stages: int,
        meters: QuerySet[Meter],
        bounds_c: Mapping[str, float],
        identified: bool = True,
        **kwargs: Any,
    ) -> None:
        """Take one pair of readings a stage, and offer the meters on file; without a plate ask what can be counted.

        `bounds_c` are the organisation's own usual bounds of the coil temperature.
        """
        super().__init__(*args, **kwargs)
        self.stages, self.identified, self.bounds_c = stages, identified, {**USUAL_BOUND_C, **bounds_c}
        if not identified:
            for name in ON_THE_PLATE:
                del self.fields[name]
        amps = {"rated_currents_a": RatedCurrents(label=_("Rated amps of a stage"), stages=stages)}
        self.fields = {
            **(amps if identified else counted_fields()),
            **self.fields,
            **{f"volts_{stage}": voltage_field() for stage in range(1, stages + 1)},
            **{f"amps_{stage}": current_field() for stage in range(1, stages + 1)},
            **_meters_on_file(meters),
        }

    def clean(self) -> dict[str, Any]:
        """Ask for the temperature where a way of knowing it is named."""
        data = super().clean() or {}
        for name in METER_KINDS:
            self._take_from_file(name, data)
        named = data.get("coil_temperature_method") != "unknown"
        data["coil_temperature_bound_c"] = self.bounds_c.get(data.get("coil_temperature_method", ""))
        if named and data.get("coil_temperature_c") is None and "coil_temperature_c" not in self.errors:
            self.add_error("coil_temperature_c", _("Needed, unless the temperature is not known."))
        return data

    def _take_from_file(self, name: str, data: dict[str, Any]) -> None:
        meter = data.get(f"{name}_on_file")
        for short, figure in FIGURES.items() if meter else ():
            data[f"{name}_{short}"] = getattr(meter, figure)
            self.errors.pop(f"{name}_{short}", None)

    def names_on_file(self) -> dict[str, str]:
        """Return what the meters that were chosen are called."""
        chosen = {name: self.cleaned_data.get(f"{name}_on_file") for name in METER_KINDS}
        return {f"{name}_designation": meter.designation for name, meter in chosen.items() if meter}

    def counted(self) -> list[forms.BoundField]:
        """Return the fields of what was counted, none where there is a plate."""
        return [] if self.identified else [self[name] for name in counted_fields()]

    def pairs(self) -> list[tuple[int, forms.BoundField, forms.BoundField]]:
        """Return the fields of each stage."""
        return [(stage, self[f"volts_{stage}"], self[f"amps_{stage}"]) for stage in range(1, self.stages + 1)]


class FilingForm(forms.Form):
    """What the unit is called, asked once its verdict is there."""

    fleet_number = forms.CharField(label=_("Fleet number"), max_length=40)
    registration = forms.CharField(label=_("Registration"), max_length=20, required=False)
    serial_number = forms.CharField(label=_("Serial number of the retarder"), max_length=60)
    type_designation = forms.CharField(label=_("What do you call this type?"), max_length=100)
    rating_source = forms.CharField(
        label=_("Where do the rated figures come from?"), max_length=200, initial=_("Plate")
    )
    clamp_designation = forms.CharField(label=_("Name of the clamp"), max_length=100, initial=_("Clamp 1"))
    voltmeter_designation = forms.CharField(label=_("Name of the voltmeter"), max_length=100, initial=_("Voltmeter 1"))
    months = forms.IntegerField(label=_("Check every … months"), min_value=1, max_value=120, initial=6)
    depot_name = forms.CharField(label=_("Depot"), max_length=200)
    time_zone = forms.ChoiceField(
        label=_("Its time zone"), choices=[(zone, zone) for zone in sorted(available_timezones())], initial="UTC"
    )

    def keep_to(self, rows: QuerySet[Depot], depots: Sequence[Depot]) -> None:
        """Ask for no new depot where there is one, and which it is where there are several."""
        if not depots:
            return
        del self.fields["depot_name"], self.fields["time_zone"]
        if len(depots) > 1:
            self.fields["depot"] = forms.ModelChoiceField(
                rows.order_by("name"),
                to_field_name="uuid",
                label=_("Depot"),
                empty_label=None,
                initial=depots[0].uuid,
            )


class OwnBookForm(forms.Form):
    """A new organisation with its first administrator."""

    name = forms.CharField(label=_("Your organisation"), max_length=200)
    username = forms.CharField(
        label=_("Your sign-in name"),
        max_length=150,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    password = forms.CharField(
        label=_("A new password"),
        help_text=_("Ten characters at least; a sentence is good."),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
