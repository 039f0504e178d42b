"""What likely causes are called, and how sure one is of them, in plain words; every page and sheet takes them here."""

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

CAUSE_WORDS: dict[str, Any] = {
    "healthy": gettext_lazy("nothing wrong by these readings"),
    "none_of_these": gettext_lazy("none of these"),
    "open_coil": gettext_lazy("coil or its joint open"),
    "open_stage_lead": gettext_lazy("stage lead open"),
    "shorted_turns": gettext_lazy("some turns of a coil shorted"),
    "shorted_coil": gettext_lazy("a whole coil shorted"),
    "coil_to_frame": gettext_lazy("coil touches the frame"),
    "blown_fuse": gettext_lazy("fuse open"),
    "contact_not_closing": gettext_lazy("contact does not close"),
    "contact_resistance": gettext_lazy("contact burnt"),
    "stage_joint_resistance": gettext_lazy("poor joint between box and coils"),
    "welded_contact": gettext_lazy("contact stays closed"),
    "outputs_exchanged": gettext_lazy("outputs exchanged"),
    "leads_doubled": gettext_lazy("two stage leads on one output"),
    "retarder_ground": gettext_lazy("poor ground from retarder to chassis"),
    "chassis_ground": gettext_lazy("poor ground from chassis to battery"),
    "supply_cable": gettext_lazy("supply cable too thin or too long"),
    "supply_joint": gettext_lazy("poor joint in the supply"),
    "low_supply": gettext_lazy("weak battery or charging"),
    "hot_coils": gettext_lazy("coils hotter than written down"),
    "clamp_zero": gettext_lazy("clamp not zeroed"),
    "clamp_gain": gettext_lazy("clamp reads wrongly in proportion"),
    "wrong_rating": gettext_lazy("wrong rated amps on file"),
    "main_supply_open": gettext_lazy("no volts at the box: isolator, main fuse or lead"),
    "control_ground_open": gettext_lazy("control ground open, or an interlock"),
}
NO_CAUSE_EXPLAINS = gettext_lazy(
    "No single cause explains these readings. Look for a slip first: a decimal point left out, volts and amps "
    "exchanged, the clamp the wrong way round or not round the whole supply. Then read again."
)


def cause_title(cause: str, stage: int | None) -> str:
    """Return what a cause is called, with its stage."""
    words = str(CAUSE_WORDS.get(cause, cause.replace("_", " ")))
    return words if stage is None else _("stage %(stage)s: %(what)s") % {"stage": stage, "what": words}


def chance_words(probability: float) -> str:
    """Return a probability in words with a number.

    >>> chance_words(0.83), chance_words(0.04), chance_words(0.999)
    ('about 8 in 10', 'less than 1 in 10', 'almost certain')
    """
    if probability >= 0.97:
        return _("almost certain")
    if probability < 0.075:
        return _("less than 1 in 10")
    # Almost certain is said of nothing less.
    return _("about %(tenths)d in 10") % {"tenths": min(max(round(10 * probability), 1), 9)}
