"""The forms of a check, one a step."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from calc.circumstances import TemperatureInputs
from calc.temperature import USUAL_BOUND_C, usual_bound_c
from dashboard.checks.numbers import TypedDecimal
from inspections.cautions import AIR_SUSPENSION, CAB, MADE_SAFE, PUT_BACK
from inspections.models import Meter

STOOD = [
    ("parked", _("Parked: the coils are as warm as the air")),
    ("measured", _("Measured at the coils")),
    ("cold_resistance", _("From this unit's own cold resistance")),
    ("cooling_model", _("Worked out from cooling down")),
    ("unknown", _("Not known")),
]
ENGINE = [
    ("idle", _("At idle")),
    ("high_idle", _("At high idle")),
    ("off", _("Off (the supply itself is then not checked)")),
]
HIGHEST_VOLTAGE_V = 1000
ANSWER_THIS = {"required": _("Answer this.")}
SAY_WHY = {"required": _("Say why.")}
HIGHEST_CURRENT_A = 1_000_000


class CautionsForm(forms.Form):
    """What is made safe before a check, each state recorded."""

    air_suspension = forms.ChoiceField(
        label=_("Air suspension"), choices=AIR_SUSPENSION, widget=forms.RadioSelect, error_messages=ANSWER_THIS
    )
    cab = forms.ChoiceField(label=_("Cab"), choices=CAB, widget=forms.RadioSelect, error_messages=ANSWER_THIS)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Take one tick for each state."""
        super().__init__(*args, **kwargs)
        missing = {"required": _("Not before this is so.")}
        ticks = {code: forms.BooleanField(label=label, error_messages=missing) for code, label in MADE_SAFE}
        self.ticks = list(ticks)
        self.fields = {**ticks, **self.fields}

    def tick_fields(self) -> list[forms.BoundField]:
        """Return the states that are ticked."""
        return [self[code] for code in self.ticks]


class PutBackForm(forms.Form):
    """What is put back before leaving, each state ticked before the check is signed."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Take one tick for each state."""
        super().__init__(*args, **kwargs)
        missing = {"required": _("Put this back before signing.")}
        self.fields |= {code: forms.BooleanField(label=label, error_messages=missing) for code, label in PUT_BACK}


def temperature_field(**kwargs: Any) -> TypedDecimal:
    """Return the field of a coil temperature."""
    return TypedDecimal(**({"label": _("Coil temperature, °C")} | kwargs), low=-60, high=300)


class ConditionsForm(forms.Form):
    """Test meters, how warm the coils are and how that is known, and the engine."""

    coil_temperature_method = forms.ChoiceField(
        label=_("How is the coil temperature known?"),
        choices=STOOD,
        widget=forms.RadioSelect,
        error_messages=ANSWER_THIS,
    )
    hours_parked = TypedDecimal(label=_("Hours stood"), low=0, high=100_000, required=False)
    coil_temperature_c = temperature_field(label=_("Coil temperature (parked: the air's), °C"), required=False)
    coil_temperature_bound_c = TypedDecimal(label=_("Known to within ± °C"), low=0, high=300, required=False)
    engine_state = forms.ChoiceField(
        label=_("Engine"), choices=ENGINE, widget=forms.RadioSelect, initial="idle", error_messages=ANSWER_THIS
    )

    def __init__(
        self, *args: Any, meters: Iterable[Meter], bounds_c: Mapping[str, float] | None = None, **kwargs: Any
    ) -> None:
        """Offer the meters of the organisation, and take its own usual bounds of the coil temperature."""
        super().__init__(*args, **kwargs)
        self.bounds_c = bounds_c or {}
        usual = {name: f"{bound_c:g}" for name, bound_c in {**USUAL_BOUND_C, **self.bounds_c}.items()}
        words = gettext(
            "Empty: what is usual for the way it is known (parked ten hours ± %(parked)s, less "
            "± %(parked_under_10_hours)s, measured ± %(measured)s)."
        )
        self.fields["coil_temperature_bound_c"].help_text = words % usual
        meters = list(meters)
        chosen = {
            kind: forms.ChoiceField(
                label=label,
                choices=[(str(meter.uuid), meter_label(meter)) for meter in meters if meter.kind == kind],
                error_messages=ANSWER_THIS,
            )
            for kind, label in (("ammeter", _("Clamp")), ("voltmeter", _("Voltmeter")))
        }
        self.fields = {**chosen, **self.fields}

    def clean(self) -> dict[str, Any]:
        """Ask for the temperature where a way of knowing it is named, and fill in the usual bound."""
        data = super().clean() or {}
        method = data.get("coil_temperature_method")
        if method == "unknown":
            return data | {"coil_temperature_c": None, "coil_temperature_bound_c": None}
        if data.get("coil_temperature_c") is None and "coil_temperature_c" not in self.errors:
            self.add_error("coil_temperature_c", _("Needed, unless the temperature is not known."))
        if method and data.get("coil_temperature_bound_c") is None:
            hours = data.get("hours_parked")
            inputs = TemperatureInputs(hours_parked=None if hours is None else float(hours))
            data["coil_temperature_bound_c"] = usual_bound_c(method, inputs, self.bounds_c)
        return data


def meter_label(meter: Meter) -> str:
    """Return the meter's name, and that its calibration has run out where it has."""
    due_on = meter.calibration_due_on
    if due_on is None or due_on >= timezone.now().date():
        return meter.designation
    values = {"meter": meter.designation, "on": date_format(due_on, "j M Y")}
    return gettext("%(meter)s (calibration ran out %(on)s)") % values


def voltage_field() -> TypedDecimal:
    """Return the field of the volts at the supply stud."""
    return TypedDecimal(label=_("Volts"), low=0, high=HIGHEST_VOLTAGE_V)


def current_field() -> TypedDecimal:
    """Return the field of the amps in the supply cable."""
    return TypedDecimal(label=_("Amps"), low=-HIGHEST_CURRENT_A, high=HIGHEST_CURRENT_A)


class RestForm(forms.Form):
    """Volts and amps with everything off."""

    supply_voltage_v = voltage_field()
    current_a = current_field()


class NotReadForm(forms.Form):
    """Why a stage was not read."""

    reason = forms.CharField(label=_("Why not?"), max_length=500, error_messages=SAY_WHY)


SEEN = [
    ("not_looked_at", _("Not looked at")),
    ("as_expected", _("As expected")),
    ("otherwise", _("Otherwise")),
]


class ReadingForm(RestForm):
    """Volts and amps of one state, how long it was on, and what was seen of outputs and lamps."""

    seconds_on = TypedDecimal(label=_("Seconds on"), low=0, high=3600, required=False)
    seen = forms.ChoiceField(
        label=_("Outputs and lamps"),
        choices=SEEN,
        widget=forms.RadioSelect,
        initial="not_looked_at",
        error_messages=ANSWER_THIS,
    )
    outputs_looked_at = forms.BooleanField(label=_("Outputs looked at"), required=False)
    lamps_looked_at = forms.BooleanField(label=_("Lamps looked at"), required=False)
    confirmed = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, stages: int, **kwargs: Any) -> None:
        """Offer the unit's outputs and lamps."""
        super().__init__(*args, **kwargs)
        choices = [(stage, str(stage)) for stage in range(1, stages + 1)]
        self.fields |= {
            name: forms.TypedMultipleChoiceField(
                label=label, choices=choices, coerce=int, required=False, widget=forms.CheckboxSelectMultiple
            )
            for name, label in (("outputs_live", _("Outputs live")), ("lamps_lit", _("Lamps lit")))
        }


PURPOSES = [
    ("routine", _("Routine")),
    ("first", _("First check of this unit")),
    ("fault_finding", _("Fault finding")),
    ("retest", _("Retest after a repair")),
]


class LookOverForm(forms.Form):
    """What is said about the whole check before it is stored."""

    purpose = forms.ChoiceField(label=_("Purpose"), choices=PURPOSES, error_messages=ANSWER_THIS)
    notes = forms.CharField(
        label=_("Notes"), max_length=10_000, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    # One line would send the form by Enter, and its first button is not the one that stores.
    supersede_reason = forms.CharField(
        label=_("Why is the earlier check replaced?"),
        max_length=1_000,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages=SAY_WHY,
    )

    def __init__(self, *args: Any, defects: Sequence[tuple[str, str]], replaces: bool, **kwargs: Any) -> None:
        """Offer the open defects, and ask for a reason only where an earlier check is replaced."""
        super().__init__(*args, **kwargs)
        if defects:
            self.fields["retest_of"] = forms.MultipleChoiceField(
                label=_("Repaired, and now tested again"),
                choices=defects,
                required=False,
                widget=forms.CheckboxSelectMultiple,
            )
        if not replaces:
            del self.fields["supersede_reason"]
