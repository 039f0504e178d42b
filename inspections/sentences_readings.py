"""The readings beyond volts and amps per stage: what each is called, where its leads go, and what state it needs."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy


@dataclass(frozen=True, slots=True)
class ReadingWords:
    """One kind of reading: its name, where it is taken, its unit, and whether it belongs to a stage or to a coil."""

    name: Any
    where: Any
    unit: str
    of_stage: bool = True
    of_coil: bool = False


READING_WORDS: Mapping[str, ReadingWords] = {
    "output_voltage": ReadingWords(
        gettext_lazy("volts at the stage output"),
        gettext_lazy("Red lead on the stage output, black lead on clean chassis metal."),
        "V",
    ),
    "contact_drop": ReadingWords(
        gettext_lazy("drop over fuse and contact"),
        gettext_lazy("Red lead on the supply stud, black lead on the stage output."),
        "V",
    ),
    "fuse_drop": ReadingWords(
        gettext_lazy("drop over the fuse"), gettext_lazy("One lead on each side of the stage fuse."), "V"
    ),
    "stage_current": ReadingWords(
        gettext_lazy("amps in the stage lead"),
        gettext_lazy("Clamp zeroed off the cable, then round this stage's own lead."),
        "A",
    ),
    "control_voltage": ReadingWords(
        gettext_lazy("volts at the control input"),
        gettext_lazy("Red lead on the stage's control input, black lead on clean chassis metal."),
        "V",
    ),
    "coil_drop": ReadingWords(
        gettext_lazy("drop across one coil"),
        gettext_lazy("One lead on each end of the coil; coils count from the stage lead, string by string."),
        "V",
        of_coil=True,
    ),
    "coil_resistance": ReadingWords(
        gettext_lazy("ohms of the stage"),
        gettext_lazy("Stage lead off the box. Four-wire low-ohm meter from the lead to its return."),
        "Ω",
    ),
    "insulation_resistance": ReadingWords(
        gettext_lazy("lead to frame"),
        gettext_lazy("Stage lead and return off. Ohm-meter from the lead to the frame of the retarder."),
        "Ω",
    ),
    "supply_drop": ReadingWords(
        gettext_lazy("drop in the supply"),
        gettext_lazy("Red lead on the battery's positive post, black lead on the supply stud."),
        "V",
        of_stage=False,
    ),
    "chassis_ground_drop": ReadingWords(
        gettext_lazy("drop from chassis to battery"),
        gettext_lazy("Red lead on clean chassis metal, black lead on the battery's negative post."),
        "V",
        of_stage=False,
    ),
    "frame_ground_drop": ReadingWords(
        gettext_lazy("drop from frame to chassis"),
        gettext_lazy("Red lead on the frame of the retarder, black lead on clean chassis metal."),
        "V",
        of_stage=False,
    ),
    "battery_voltage": ReadingWords(
        gettext_lazy("volts at the battery posts"),
        gettext_lazy("Red lead on the positive post, black lead on the negative post."),
        "V",
        of_stage=False,
    ),
    "quiescent_current": ReadingWords(
        gettext_lazy("amps with everything off"),
        gettext_lazy("Clamp zeroed off the cable, then round the supply cable."),
        "A",
        of_stage=False,
    ),
}
TAKEN_WORDS = {"volts": gettext_lazy("volts at the supply stud"), "current": gettext_lazy("amps in the supply cable")}


def reading_title(kind: str, stage: int | None, coil: int | None = None) -> str:
    """Return what a reading is called, with its stage and coil."""
    words: Any = READING_WORDS[kind].name if kind in READING_WORDS else TAKEN_WORDS[kind]
    if coil is not None:
        return _("stage %(stage)s, coil %(coil)s: %(what)s") % {"stage": stage, "coil": coil, "what": words}
    return str(words) if stage is None else _("stage %(stage)s: %(what)s") % {"stage": stage, "what": words}


def state_words(energised: list[int], *, isolated: bool) -> str:
    """Return the state a reading needs or was taken in."""
    if isolated:
        return _("power isolated")
    if not energised:
        return _("everything off")
    if len(energised) == 1:
        return _("stage %(stage)s on alone") % {"stage": energised[0]}
    return _("stages %(stages)s on") % {"stages": ", ".join(str(stage) for stage in energised)}
