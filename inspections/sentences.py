"""Sentences for the codes of a judgement, in the reader's language; calc and the database hold codes and numbers."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inspections.sentences_apart import APART_SENTENCES
from inspections.sentences_repair import REMEDY_SENTENCES, WHY_SENTENCES
from inspections.survey_items import ITEM_WORDS

SENTENCES: dict[str, Any] = {
    **APART_SENTENCES,
    **REMEDY_SENTENCES,
    **WHY_SENTENCES,
    # Findings.
    "rest_current": _(
        "%(current_a)s A flows with everything off, more than the meter's zero explains; nothing was subtracted. "
        "Isolate and look for a contact that does not open."
    ),
    "rest_current_negative": _(
        "%(current_a)s A with everything off is no zero of this meter; nothing was subtracted. Zero the clamp off the "
        "cable and read again."
    ),
    "rest_current_subtracted": _("%(current_a)s A with everything off was taken as the meter's zero and subtracted."),
    "rest_not_read": _("Volts and amps with everything off were not read."),
    "output_mismatch": _("With inputs %(energised)s on, outputs %(expected)s should be live; live were: %(seen)s."),
    "lamp_mismatch": _("With inputs %(energised)s on, lamps %(expected)s should be lit; lit were: %(seen)s."),
    "over_current": _(
        "The stage draws %(level_percent)s %% of rated, over %(limit_percent)s %%. Stage off, engine off, then open "
        "the isolator; do not energise it again, and fit no new fuse, before lead to frame has been read with the "
        "power isolated."
    ),
    "not_capable": _(
        "With these meters and this temperature a clear pass is out of reach (capability %(capability)s); most of the "
        "uncertainty comes from: %(dominant_source)s."
    ),
    "coil_temperature_assumed": _(
        "The coil temperature is assumed: %(coil_temperature_c)s ± %(coil_temperature_bound_c)s °C."
    ),
    "temperature_bound_below_usual": _(
        "The coil temperature is stated to ± %(coil_temperature_bound_c)s °C; by this method ± %(usual_bound_c)s °C is "
        "usual. It was taken as stated."
    ),
    "reference_voltage_unknown": _(
        "The rating states no voltage, so its amps cannot be held against these; the stages are compared with each "
        "other."
    ),
    "tolerance_assumed": _("The rating states no tolerance; ± %(tolerance_percent)s %% is assumed."),
    "shared_ground_not_tested": _("Without a cumulative pass a poor shared ground stays unseen."),
    "supply_not_tested": _("The engine was off, so the supply itself was not checked."),
    "stages_not_read": _("Stages not read: %(stages)s."),
    # Of a unit whose type is not identified.
    "stage_draws_nothing": _(
        "Switched on, the stage draws, with all doubt, less than %(share_percent)s %% of what the others draw or of "
        "what it drew itself: it does not work."
    ),
    "stage_current_not_told": _(
        "These meters are too coarse to tell the stage's current from none, and nothing shows that it should be "
        "larger; read it again with a finer clamp."
    ),
    "stages_alike": _(
        "The stages draw alike: none is further from their mean than %(imbalance_percent)s %% ± "
        "%(expanded_uncertainty_percent)s %%, and sound ones may differ by %(spread_percent)s %%."
    ),
    "stages_alike_not_told": _(
        "These meters cannot tell whether the stages draw alike: the largest deviation from their mean is "
        "%(imbalance_percent)s %% ± %(expanded_uncertainty_percent)s %%, which may be more than %(most_percent)s %%."
    ),
    "stages_unlike": _(
        "The two stages are %(imbalance_percent)s %% ± %(expanded_uncertainty_percent)s %% off their mean, where sound "
        "ones built alike differ by no more than %(spread_percent)s %%; which of them is wrong these readings do not "
        "tell."
    ),
    "stage_unlike_the_others": _(
        "The stage is %(deviation_percent)s %% ± %(expanded_uncertainty_percent)s %% off the mean of the stages, where "
        "sound ones built alike differ by no more than %(spread_percent)s %%."
    ),
    "no_own_history": _(
        "There is no earlier check of these stages, since any repair of them, that this one could be compared with."
    ),
    "own_history_left_out": _(
        "A meter of this check was found wrong and its error was taken out of the readings; what was kept of the "
        "earlier checks was read before that was known, so nothing is compared with them."
    ),
    "stage_unlike_its_history": _(
        "At equal volts and temperature the stage draws %(deviation_percent)s %% ± %(expanded_uncertainty_percent)s %% "
        "against its own first checks, signed or not, since any repair (%(checks)s): more than the meters and the "
        "temperature explain."
    ),
    "like_its_history": _(
        "At equal volts and temperature every stage draws what it drew at its first checks, signed or not, since any "
        "repair, as far as these meters can tell: the largest change is %(deviation_percent)s %% ± "
        "%(expanded_uncertainty_percent)s %%, of stage %(largest_stage)s (checks: %(checks)s)."
    ),
    # Reasons of a verdict.
    "type_not_identified": _(
        "The type of the unit is not identified, so its amps are held against no limits: only against each other, the "
        "stages being taken as built alike, and against its own earlier checks."
    ),
    "outside_limits": _(
        "%(normalised_current_a)s A ± %(expanded_uncertainty_a)s A is outside the limits %(limits)s. Stop and find "
        "the fault."
    ),
    "outside_not_certain": _(
        "%(normalised_current_a)s A is outside the limits %(limits)s, but ± %(expanded_uncertainty_a)s A reaches into "
        "them. Read again cold, or with a better clamp."
    ),
    "inside_not_certain": _(
        "%(normalised_current_a)s A is inside the limits %(limits)s, but ± %(expanded_uncertainty_a)s A reaches out of "
        "them."
    ),
    "stage_not_read": _("The stage was not read."),
    "no_readings": _("No stage was read."),
    "tolerance_unknown": _("The rating has no tolerance to judge by."),
    "calibration_not_valid": _("No valid calibration of the %(meter)s on the day: %(fault)s."),
    "no_voltage": _("There was no voltage at the box."),
    "over_range": _("A reading is above the meter's range."),
    "electronic_drive": _("The drive is electronic: average amps and volts are not related by resistance."),
    "step_without_predecessor": _("The step has no reading of the same inputs without this stage to compare with."),
    # Remedies.
    "no_action": _("Nothing to repair by these readings."),
    "measure_further": _("Read further before replacing anything."),
}
SOURCES: dict[str, Any] = {
    "ammeter": _("clamp"),
    "voltmeter": _("voltmeter"),
    "coil_temperature": _("coil temperature"),
    "temperature_coefficient": _("temperature coefficient of copper"),
    "rest_current": _("rest current"),
    "heating_while_on": _("warming of the coil while on"),
    "reference_temperature": _("reference temperature of the rating"),
    "auxiliary_loads": _("auxiliary loads of the box"),
    "repeatability": _("scatter of repeated readings"),
    "step_repeatability": _("scatter from step to step"),
}
CALIBRATION_FAULTS: dict[str, Any] = {
    "expired": _("run out"),
    "failed": _("found out of tolerance"),
    "missing": _("none on file"),
}
CAUTION = _(
    "The result is about the readings taken, not a statement that a vehicle is safe or lawful: follow the maker's "
    "instructions, local codes, and licensed practice."
)
NOTHING_SEEN = _("none")
# From ten on a number has two figures before its point, and four in all are shown of it.
TWO_FIGURES = 10


def sentence(code: str, params: Mapping[str, Any]) -> str:
    """Return the sentence of a code with its numbers, rounded for reading."""
    return str(SENTENCES[code]) % {**{name: _shown(value) for name, value in params.items()}, **_derived(params)}


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) >= TWO_FIGURES else f"{value:.3g}"
    return str((SOURCES | CALIBRATION_FAULTS | ITEM_WORDS).get(value, value)) or str(NOTHING_SEEN)


def _derived(params: Mapping[str, Any]) -> dict[str, str]:
    """Return the limits as one phrase, as a rating may have only one; and an item as the organisation calls it."""
    lower_a, upper_a = params.get("lower_limit_a"), params.get("upper_limit_a")
    sides = [
        "" if lower_a is None else gettext("from %(limit)s A") % {"limit": _shown(lower_a)},
        "" if upper_a is None else gettext("to %(limit)s A") % {"limit": _shown(upper_a)},
    ]
    own_words = {"item": str(params["item_words"])} if params.get("item_words") else {}
    return {"limits": " ".join(filter(None, sides)), **own_words}
