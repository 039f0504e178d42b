"""What is wrong, in a few words: the code of a defect as a list or a sentence names it."""

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.models import Defect
from inspections.sentences_causes import CAUSE_WORDS

DEFECT_WORDS: dict[str, "str | Promise"] = {
    **CAUSE_WORDS,
    "outside_limits": gettext_lazy("outside limits"),
    "over_current": gettext_lazy("far too much current"),
    "stage_draws_nothing": gettext_lazy("draws no current"),
    "stage_unlike_its_history": gettext_lazy("draws far from what it drew at first"),
    "output_mismatch": gettext_lazy("input switches another output"),
    "lamp_mismatch": gettext_lazy("lamp does not tell the stage"),
    "rest_current": gettext_lazy("current with everything off"),
    "supply_voltage_low": gettext_lazy("supply voltage too low"),
    "supply_voltage_high": gettext_lazy("supply voltage too high"),
    "battery_limits": gettext_lazy("battery voltage too low"),
    "battery_falls_under_load": gettext_lazy("battery falls under load"),
    "charging_voltage_low": gettext_lazy("charging voltage too low"),
    "charging_voltage_high": gettext_lazy("charging voltage too high"),
    "alternator_too_small": gettext_lazy("alternator too small for the load"),
    "alternator_limits": gettext_lazy("alternator does not carry the load"),
    "cable_limits": gettext_lazy("too much voltage lost in the supply cables"),
    "upstream_resistance_high": gettext_lazy("too much resistance before the box"),
    "shared_ground_resistance_high": gettext_lazy("too much resistance in the shared ground"),
    "control_item_bad": gettext_lazy("control check found a fault"),
    "survey_item_bad": gettext_lazy("mechanical survey found a fault"),
    "survey_number_outside": gettext_lazy("mechanical measurement outside its limits"),
    "driver_weaker": gettext_lazy("driver: weaker than usual"),
    "driver_lamp": gettext_lazy("driver: warning lamp"),
    "driver_noise": gettext_lazy("driver: noise"),
    "driver_other": gettext_lazy("driver: something else"),
}


def defect_words(defect: Defect) -> str:
    """Return what is wrong; a code that has no words yet is shown as it is."""
    return str(DEFECT_WORDS.get(defect.code, defect.code.replace("_", " ")))


def defect_title(defect: Defect) -> str:
    """Return where and what."""
    if defect.stage is None:
        return defect_words(defect)
    return _("stage %(stage)s %(what)s") % {"stage": defect.stage, "what": defect_words(defect)}
