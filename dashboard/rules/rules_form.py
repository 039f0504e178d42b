"""The form of the rule, the bounds of the coil temperature, and the limits of what is judged apart from the amps."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from accounts.models import DECISION_RULES, Organisation
from calc.apart.charging import AT_REST_LOW_V, CHARGING_HIGH_V, CHARGING_LOW_V
from calc.temperature import USUAL_BOUND_C
from dashboard.checks.numbers import TypedDecimal
from inspections.limits import SYSTEMS_V, OwnLimits
from inspections.services.limits import LIMIT_NAMES

CALIBRATION = [
    ("marked", _("The verdict is given, and marked plainly")),
    ("withheld", _("No verdict is given")),
]
BOUND_WORDS = {
    "measured": _("Measured at the winding"),
    "measured_bare_metal_after_driving": _("Measured on bare metal after driving"),
    "measured_painted_metal_after_driving": _("Measured on painted metal after driving"),
    "parked": _("Parked ten hours or more"),
    "parked_moved_indoors": _("Parked, then moved indoors"),
    "parked_under_10_hours": _("Parked less than ten hours"),
    "cold_resistance": _("From the unit's own cold resistance"),
    "cooling_model": _("Worked out from cooling down"),
    "unknown": _("Not known (50 °C is assumed)"),
}
LIMIT_WORDS = {
    "supply_voltage_low_v": _("Volts at the box under full load, at least"),
    "supply_voltage_high_v": _("Volts at the box, at most"),
    "upstream_resistance_mohm": _("Resistance before the box, at most, mΩ"),
    "shared_ground_resistance_mohm": _("Shared ground of the stages, at most, mΩ"),
    "battery_at_rest_low_v": _("Battery at rest, at least, V"),
    "charging_low_v": _("Battery while charging, at least, V"),
    "charging_high_v": _("Battery while charging, at most, V"),
    "cable_drop_v": _("Lost in the cables at full load, at most, V"),
}
# What stands where the organisation sets nothing, for 12 V; twice as much for 24 V.
BUILT_IN_12_V = {
    "battery_at_rest_low_v": AT_REST_LOW_V,
    "charging_low_v": CHARGING_LOW_V,
    "charging_high_v": CHARGING_HIGH_V,
}
HIGHEST_LIMIT = 1_000


class RulesForm(forms.Form):
    """How the organisation judges; a number left empty is the built-in one, or none."""

    opened = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    decision_rule = forms.ChoiceField(label=_("Decision rule"), choices=DECISION_RULES)
    max_false_accept_probability = TypedDecimal(
        label=_("Highest chance of a wrong pass"),
        low=0.000001,
        high=0.5,
        required=False,
        help_text=_("For the rule of maximum false acceptance only: 0.05 is 1 in 20."),
    )
    calibration = forms.ChoiceField(
        label=_("A meter without a valid calibration on the day"), choices=CALIBRATION, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, organisation: Organisation, own: OwnLimits, **kwargs: Any) -> None:
        """Show what holds now."""
        probability = organisation.max_false_accept_probability
        initial = {
            "opened": own.number,
            "decision_rule": organisation.decision_rule,
            "max_false_accept_probability": None if probability is None else f"{probability:.6g}",
            "calibration": "withheld" if organisation.calibration_required else "marked",
            **{f"bound_{name}": bound for name, bound in own.temperature_bounds_c.items()},
            **{
                f"limit_{system}_{name}": limit
                for system, limits in own.limits.items()
                for name, limit in limits.items()
            },
        }
        super().__init__(*args, **{"initial": initial} | kwargs)
        self.fields |= {
            f"bound_{name}": TypedDecimal(label=word, low=0.01, high=300, required=False)
            for name, word in BOUND_WORDS.items()
        }
        self.fields |= {
            f"limit_{system}_{name}": TypedDecimal(
                label=_("%(limit)s, %(system)s V system") % {"limit": LIMIT_WORDS[name], "system": system},
                low=0.001,
                high=HIGHEST_LIMIT,
                required=False,
            )
            for name in LIMIT_NAMES
            for system in SYSTEMS_V
        }

    def bounds(self) -> Iterator[tuple[forms.BoundField, str]]:
        """Return each bound's field with the built-in bound."""
        for name in BOUND_WORDS:
            yield self[f"bound_{name}"], f"{USUAL_BOUND_C[name]:g}"

    def limits(self) -> Iterator[tuple[Any, list[tuple[forms.BoundField, str]]]]:
        """Return each limit's words with its field for either system, and what is built in."""
        for name in LIMIT_NAMES:
            built_in = BUILT_IN_12_V.get(name)
            shown = ["" if built_in is None else f"{built_in * system / 12:g}" for system in SYSTEMS_V]
            fields = [self[f"limit_{system}_{name}"] for system in SYSTEMS_V]
            yield LIMIT_WORDS[name], list(zip(fields, shown, strict=True))

    def rule(self) -> dict[str, Any]:
        """Return the rule as the service takes it."""
        probability: Decimal | None = self.cleaned_data["max_false_accept_probability"]
        return {
            "decision_rule": self.cleaned_data["decision_rule"],
            "max_false_accept_probability": None if probability is None else float(probability),
            "calibration_required": self.cleaned_data["calibration"] == "withheld",
        }

    def numbers(self) -> dict[str, Any]:
        """Return bounds and limits as the service takes them."""
        data = self.cleaned_data
        return {
            "opened": data["opened"],
            "temperature_bounds_c": {
                name: data[f"bound_{name}"] for name in BOUND_WORDS if data[f"bound_{name}"] is not None
            },
            "limits": {
                str(system): {
                    name: data[f"limit_{system}_{name}"]
                    for name in LIMIT_NAMES
                    if data[f"limit_{system}_{name}"] is not None
                }
                for system in SYSTEMS_V
            },
        }
