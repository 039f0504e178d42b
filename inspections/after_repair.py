"""What is checked after a repair, by the cause that was repaired."""

from collections.abc import Mapping
from typing import Any

from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

CHECKS: Mapping[str, Any] = {
    "joints": gettext_lazy("the joints that were opened re-read in mV per 100 A"),
    "contact_drop": gettext_lazy("drop from stud to output in mV per 100 A"),
    "fuse_drop": gettext_lazy("fuse of the same rating, and the drop across it"),
    "no_rest_current": gettext_lazy("no current with everything off"),
    "insulation": gettext_lazy("lead to frame with the power isolated"),
    "polarity": gettext_lazy("polarity of every coil of the stage"),
    "rotation_and_gap": gettext_lazy("free rotation and air gap"),
    "supply_under_load": gettext_lazy("volts at the posts, and from battery to stud, with all stages on"),
    "cumulative_pass": gettext_lazy("a cumulative pass, for the shared ground and the supply"),
    "all_stages": gettext_lazy("all stages read again, not only the repaired one"),
    "control_check": gettext_lazy("control check: every input alone with its output and lamp"),
    "road_test": gettext_lazy("low-speed road test"),
}
# What follows every repair of the circuit.
ALWAYS = ("all_stages", "control_check", "road_test")
COIL_WORK = ("joints", "polarity", "insulation", "rotation_and_gap", *ALWAYS)
BOX_WORK = ("joints", "contact_drop", *ALWAYS)
GROUND_WORK = ("joints", "cumulative_pass", *ALWAYS)
AFTER_REPAIR: Mapping[str, tuple[str, ...]] = {
    "open_coil": COIL_WORK,
    "shorted_turns": COIL_WORK,
    "shorted_coil": COIL_WORK,
    "coil_to_frame": ("fuse_drop", *COIL_WORK),
    "open_stage_lead": ("joints", *ALWAYS),
    "stage_joint_resistance": ("joints", *ALWAYS),
    "blown_fuse": ("insulation", "fuse_drop", *ALWAYS),
    "contact_not_closing": BOX_WORK,
    "contact_resistance": BOX_WORK,
    "welded_contact": ("no_rest_current", *BOX_WORK),
    "outputs_exchanged": ("joints", *ALWAYS),
    "leads_doubled": BOX_WORK,
    "retarder_ground": GROUND_WORK,
    "chassis_ground": GROUND_WORK,
    "supply_cable": ("joints", "supply_under_load", *ALWAYS),
    "supply_joint": ("joints", "supply_under_load", *ALWAYS),
    "low_supply": ("supply_under_load", *ALWAYS),
    "main_supply_open": ("joints", "supply_under_load", *ALWAYS),
    "control_ground_open": ALWAYS,
}
# Where nobody has named the cause: whatever was opened.
UNNAMED = ("joints", *ALWAYS)


def checks_after(cause: str) -> list[str]:
    """Return what is checked after the repair of a cause; of a measurement nothing was repaired but the record."""
    return [str(CHECKS[check]) for check in AFTER_REPAIR.get(cause, UNNAMED)]


def _afterwards(cause: str) -> str:
    return _("Afterwards: %(checks)s.") % {"checks": "; ".join(checks_after(cause))}


afterwards = lazy(_afterwards, str)
