"""Sentences for what is judged apart from the amps, and for what would settle a verdict."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

APART_SENTENCES: dict[str, Any] = {
    "supply_voltage_low": _(
        "The box saw %(supply_voltage_v)s V with %(stages_on)s stages on, under the limit of %(limit_v)s V."
    ),
    "supply_voltage_high": _(
        "The box saw %(supply_voltage_v)s V with %(stages_on)s stages on, over the limit of %(limit_v)s V."
    ),
    "battery_limits": _("The battery limits: %(battery_voltage_v)s V at rest, under %(limit_v)s V."),
    "battery_falls_under_load": _(
        "The battery limits: its posts fell by %(fall_v)s V to %(battery_voltage_v)s V in ten seconds of full load."
    ),
    "charging_voltage_low": _("The alternator limits: %(battery_voltage_v)s V while charging, under %(limit_v)s V."),
    "charging_voltage_high": _("The regulator charges with %(battery_voltage_v)s V, over %(limit_v)s V."),
    "alternator_too_small": _(
        "The alternator limits: the load of %(load_a)s A is more than its rated %(rated_a)s A; the battery carries the "
        "rest at %(battery_voltage_v)s V."
    ),
    "alternator_limits": _(
        "The alternator limits: at high idle it cannot carry %(load_a)s A, and the battery stands at "
        "%(battery_voltage_v)s V."
    ),
    "alternator_limits_at_idle": _(
        "At idle the alternator cannot carry %(load_a)s A; the battery stands at %(battery_voltage_v)s V. Read again "
        "at high idle."
    ),
    "cable_limits": _(
        "The cables limit: between battery posts and box %(drop_v)s V are lost at %(load_a)s A, over %(limit_v)s V."
    ),
    "upstream_resistance_high": _(
        "Between source and box lie %(resistance_mohm)s mΩ ± %(expanded_uncertainty_mohm)s mΩ, over the limit of "
        "%(limit_mohm)s mΩ."
    ),
    "shared_ground_resistance_high": _(
        "The stages share %(resistance_mohm)s mΩ ± %(expanded_uncertainty_mohm)s mΩ on their way to ground, over the "
        "limit of %(limit_mohm)s mΩ."
    ),
    "shared_ground_resistance_shows": _(
        "The stages share %(resistance_mohm)s mΩ ± %(expanded_uncertainty_mohm)s mΩ on their way to ground; a rule of "
        "thumb allows a heavy circuit %(rule_mohm)s mΩ. No limit is set, so this is not judged."
    ),
    "upstream_resistance_curved": _(
        "Volts against amps are no straight line, so the resistance before the box is not worked out."
    ),
    "shared_ground_resistance_curved": _(
        "The stages' resistance against their number is no straight line, so the shared ground is not worked out."
    ),
    "control_item_bad": _("Control check, bad: %(item)s."),
    "survey_item_bad": _("Mechanical survey, bad: %(item)s."),
    "survey_number_outside": _("Mechanical survey, outside its limits: %(item)s, %(value)s."),
    "read_late": _(
        "A reading was taken after %(seconds_on)s s on, when the coil may have warmed by %(warmer_c)s °C; the "
        "uncertainty was widened by as much."
    ),
    "coil_temperature_worked_out": _(
        "The coil temperature was worked out: %(coil_temperature_c)s ± %(coil_temperature_bound_c)s °C."
    ),
    "reference_temperature_assumed": _(
        "The rating states no coil temperature; %(reference_temperature_c)s ± %(bound_c)s °C is assumed."
    ),
}
UNITS = {"A": "A", "V": "V", "Cel": "°C"}
# Short of clear for a reason that no uncertainty has a part in: the reason's own sentence says what is missing.
_MORE_READINGS: dict[str, Any] = {
    "would_do": _("%(readings_needed)s readings of the stage would do."),
    "meters_and_temperature_stay": _(
        "More readings cannot help: they average the scatter, not what meters and temperature have in common."
    ),
    "no_scatter_to_average": _(
        "More readings cannot help: what is not certain is common to all readings with these meters."
    ),
    "at_the_limit": _("The value lies on the limit: no uncertainty settles it."),
}
_INPUTS: dict[str, Any] = {
    "coil_temperature": _("the coil temperature known to ± %(needed)s %(unit)s instead of ± %(present)s %(unit)s"),
    "ammeter": _("a clamp good to ± %(needed)s %(unit)s at this reading instead of ± %(present)s %(unit)s"),
    "voltmeter": _("a voltmeter good to ± %(needed)s %(unit)s instead of ± %(present)s %(unit)s"),
}


def settling_sentence(settle: Mapping[str, Any]) -> str:
    """Return what would settle a stage, in one or two sentences; empty where uncertainty has no part in it."""
    more = settle["more_readings"]
    if more not in _MORE_READINGS:
        return ""
    alone = [_input(bound) for bound in settle["single_inputs"]]
    reachable = gettext("It would be settled by %(inputs)s.") % {"inputs": gettext(", or by ").join(alone)}
    none_alone = gettext("No single input can settle it.")
    parts = [reachable if alone else none_alone, str(_MORE_READINGS[more]) % dict(settle)]
    if settle["capable_with"]:
        capable = gettext(", or ").join(_input(bound) for bound in settle["capable_with"])
        parts.append(gettext("A pass becomes possible with %(inputs)s.") % {"inputs": capable})
    return " ".join(parts)


def _input(bound: Mapping[str, Any]) -> str:
    shown = {"needed": f"{bound['needed']:.2g}", "present": f"{bound['present']:.2g}", "unit": UNITS[bound["unit"]]}
    return str(_INPUTS[bound["source"]]) % shown
