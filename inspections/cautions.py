"""The cautions of a check: what is made so before it, what is kept in mind, and what is put back after it.

The states go into the evidence by their codes, so that a printed record can say what was made safe and by whom.
"""

from django.utils.translation import gettext_lazy as _

MADE_SAFE = [
    ("parking_brake_on", _("Parking brake on")),
    ("wheels_chocked", _("Wheels chocked both ways")),
    ("neutral", _("Transmission in neutral")),
    ("sign_at_seat", _("Sign at the driver's seat")),
    ("exhaust_ventilated", _("Exhaust led out, or the doors open")),
    ("eyes_protected", _("Eye protection on, rings and watches off")),
]
AIR_SUSPENSION = [
    ("blocked", _("Body blocked or on stands")),
    ("none", _("No air suspension")),
]
CAB = [
    ("empty", _("Nobody in the cab")),
    ("agreed_helper", _("One agreed helper in the cab")),
]
# The same states for whoever reads them beforehand or on paper.
MADE_SAFE_WORDS = [
    *(words for _code, words in MADE_SAFE),
    _("Body of an air-suspended vehicle blocked or on stands"),
    _("Nobody in the cab but an agreed helper"),
]
KEPT_IN_MIND = [
    _("Energising the coils does not hold a stationary vehicle."),
    _("Keep clear of the rotating shaft, and keep steel tools out of the air gap."),
    _("Rotor and coils stay hot long after stopping."),
    _(
        "Control plug off before a test lead goes to a control input; a fused lead, to a control input only, never to "
        "a stage output, and only where the box's inputs are known to be positive-switched."
    ),
    _("Never break coil current by pulling a lead, and never open the isolator with the engine running."),
    _("Do not leave a stage on at standstill."),
    _("Smoke, smell, or far too many amps: stage off, engine off, then open the isolator."),
]
PUT_BACK = [
    ("leads_off", _("Test leads off")),
    ("plugs_on", _("Plugs on")),
    ("covers_on", _("Covers on")),
    ("isolator_on", _("Isolator on")),
    ("interlock_restored", _("Interlock restored")),
]
