"""Sentences for what to do about a cause, with cautions and checks afterwards, and for why a reading is asked."""

from typing import Any

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from inspections.after_repair import AFTER_REPAIR, afterwards

# What to do; the checks afterwards are added from their own table.
_REMEDIES: dict[str, Any] = {
    "open_coil": _(
        "One coil or its connection is open. With the power isolated and the rotor cold, check the joints of the coil"
        " first, then replace it."
    ),
    "open_stage_lead": _(
        "The lead between box and coils is open. With the power isolated, follow it for a break, a pulled terminal or"
        " a burnt joint; repair and secure it away from heat."
    ),
    "shorted_turns": _("Turns of one coil are shorted. Replace the coil with the power isolated and the rotor cold."),
    "shorted_coil": _(
        "One coil is shorted as a whole: its joint, its terminals or its winding. Leave the stage off until it is "
        "repaired."
    ),
    "coil_to_frame": _(
        "A coil or its joint touches the frame. Leave the stage off and fit no new fuse: with the power isolated, "
        "lift the return, find the place from lead to frame and replace the coil or the insulation."
    ),
    "blown_fuse": _(
        "The fuse is open. Before a new one is fitted, read lead to frame with the power isolated and find why it "
        "blew; fit the same rating, and never bridge it."
    ),
    "contact_not_closing": _(
        "The contact does not close: no control signal, or the relay's own coil. Read the control input with that "
        "stage commanded; repair the control circuit, or replace the relay."
    ),
    "contact_resistance": _(
        "The contact or its fuse holder is burnt. With the power isolated, replace the contact or the relay and check"
        " that switching sparks are suppressed."
    ),
    "stage_joint_resistance": _(
        "A joint between box and coils has resistance. With the power isolated, open, clean to bare metal, fit the "
        "right terminal at its torque and protect it."
    ),
    "welded_contact": _(
        "The contact stays closed with everything off: isolate the retarder now, and do not pull the lead under "
        "current. Replace the relay and look for the cause, a short or missing spark suppression."
    ),
    "outputs_exchanged": _(
        "Two outputs are exchanged. With the power isolated, put leads or control wires in their order and mark them."
    ),
    "leads_doubled": _(
        "Two stage leads hang on one output, which carries both. Leave that output off; with the power isolated, put "
        "each lead on its own output and mark it."
    ),
    "retarder_ground": _(
        "The ground between retarder and chassis has resistance. With the power isolated, clean the joint to bare "
        "metal, renew the strap where it is corroded, tighten and protect it."
    ),
    "chassis_ground": _(
        "The ground between chassis and battery has resistance. Isolate, take the negative lead off first, clean and "
        "tighten the joints."
    ),
    "supply_cable": _(
        "The supply cable is too thin or too long for its current. Read the size printed on it and measure its "
        "length; refit to a calculated size, fused where it was."
    ),
    "supply_joint": _(
        "A joint between battery and box has resistance: move the probe along the cable under load to find it. "
        "Isolate, clean and tighten it."
    ),
    "low_supply": _(
        "The supply itself is weak: battery, alternator or its belt. Charge and test the battery, check the charging "
        "system with the engine at high idle."
    ),
    "hot_coils": _(
        "The coils are hotter than was written down. Let them cool, measure their temperature, and read again before "
        "anything is replaced."
    ),
    "clamp_zero": _(
        "The clamp shows a current that is not there. Take it off the cable, zero it, and read again with everything "
        "off first."
    ),
    "clamp_gain": _(
        "The clamp reads wrongly in proportion. Check its battery, that the jaws close, that it stands square in the "
        "middle of its jaws and round the whole supply; compare with a second clamp, and read again."
    ),
    "wrong_rating": _(
        "The rated amps do not belong to this unit, or hold at another voltage. Read the plate, correct the record, "
        "and judge again before anything is replaced."
    ),
    "main_supply_open": _(
        "No volts reach the box: isolator off, main fuse, or a lead off. Look before measuring; find why a main fuse "
        "blew before it is renewed."
    ),
    "control_ground_open": _(
        "No stage closes although the box has volts: its control ground is open, or an interlock holds it off. Check "
        "the interlock first, then the ground of the control circuit."
    ),
}
REMEDY_SENTENCES: dict[str, Any] = {
    f"remedy_{cause}": format_lazy("{} {}", text, afterwards(cause)) if cause in AFTER_REPAIR else text
    for cause, text in _REMEDIES.items()
}
WHY_SENTENCES: dict[str, Any] = {
    "why_output_voltage": _(
        "Nearly full volts at the output mean the box does its part and the fault lies behind it; low or none mean "
        "fuse or contact."
    ),
    "why_contact_drop": _("The drop from stud to output tells fuse and contact from the lead and the coils."),
    "why_fuse_drop": _("Full volts across the fuse mean that it is open; next to none mean that it is sound."),
    "why_stage_current": _("The clamp on the stage's own lead tells what this stage alone draws."),
    "why_control_voltage": _("No volts at the control input mean that the command does not arrive."),
    "why_coil_resistance": _(
        "A four-wire low-ohm meter on the lead, power isolated and lead off, tells the coils from the meters and the "
        "rating."
    ),
    "why_coil_drop": _("The drop across one coil, compared with the others, shows which coil is open or shorted."),
    "why_insulation_resistance": _(
        "Lead to frame, power isolated and return lifted, shows whether a coil touches the frame."
    ),
    "why_supply_drop": _("The drop from battery to stud tells cable and joints from the rest of the supply."),
    "why_chassis_ground_drop": _("The drop from chassis to battery tells the ground from the rest of the supply."),
    "why_frame_ground_drop": _("The drop from frame to chassis shows the retarder's own ground."),
    "why_battery_voltage": _("Volts at the posts under load tell a weak supply from losses on the way."),
    "why_quiescent_current": _("Current with everything off is a closed contact, or the clamp's own zero."),
}
