"""The codes of likely causes, and the screen that weighs the healthy circuit against anything else."""

from calc.judgement import Hypothesis

CAUSES = (
    "open_coil",
    "open_stage_lead",
    "shorted_turns",
    "shorted_coil",
    "coil_to_frame",
    "blown_fuse",
    "contact_not_closing",
    "contact_resistance",
    "stage_joint_resistance",
    "welded_contact",
    "outputs_exchanged",
    "leads_doubled",
    "retarder_ground",
    "chassis_ground",
    "supply_cable",
    "supply_joint",
    "low_supply",
    "hot_coils",
    "clamp_zero",
    "clamp_gain",
    "wrong_rating",
    "main_supply_open",
    "control_ground_open",
)
REMEDIES = {"healthy": "no_action", "none_of_these": "measure_further"} | {cause: f"remedy_{cause}" for cause in CAUSES}
READINGS = (
    "output_voltage",
    "contact_drop",
    "stage_current",
    "control_voltage",
    "coil_resistance",
    "coil_drop",
    "insulation_resistance",
    "supply_drop",
    "fuse_drop",
    "chassis_ground_drop",
    "frame_ground_drop",
    "battery_voltage",
    "quiescent_current",
)
REASONS_TO_READ = {kind: f"why_{kind}" for kind in READINGS}


def screened(healthy_probability: float, *, defect_found: bool) -> tuple[Hypothesis, ...]:
    """Return `healthy` and `none_of_these`, most probable first; a defect found rules `healthy` out.

    Examples
    --------
    >>> [cause.cause for cause in screened(0.2, defect_found=False)]
    ['none_of_these', 'healthy']
    """
    healthy = 0.0 if defect_found else healthy_probability
    ranked = sorted({"healthy": healthy, "none_of_these": 1 - healthy}.items(), key=lambda cause: -cause[1])
    return tuple(
        Hypothesis(cause, None, probability, group, REMEDIES[cause])
        for group, (cause, probability) in enumerate(ranked, start=1)
    )
