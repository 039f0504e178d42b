"""Where everything stands in the drawing of the circuit, in its own units: 360 wide, 372 high."""

from typing import NamedTuple

Point = tuple[float, float]


class Box(NamedTuple):
    """A frame."""

    x: float
    y: float
    width: float
    height: float


class Place(NamedTuple):
    """Where a text stands."""

    x: float
    y: float
    anchor: str


COLUMN = 168.0
COIL_TOP, COIL_BOTTOM = 198.0, 284.0
MOST_COILS_DRAWN = 4
STUD, OUTPUT, FRAME, CHASSIS = (COLUMN, 50.0), (COLUMN, 164.0), (COLUMN, 300.0), (COLUMN, 340.0)
POSITIVE_POST, NEGATIVE_POST, CONTROL_INPUT = (40.0, 170.0), (40.0, 222.0), (92.0, 128.0)
# To the right of the labels of the column, left of the branch of the other stages.
ASIDE = 268.0

# The parts that a cause can lie in.
REGIONS = {
    "fuse": Box(154, 70, 28, 36),
    "contact": Box(146, 110, 36, 34),
    "output": Box(156, 152, 24, 24),
    "lead": Box(156, 171, 24, 24),
    "coils": Box(156, 194, 36, 94),
    "retarder_ground": Box(156, 306, 24, 26),
    "chassis_ground": Box(91, 328, 26, 24),
    "supply": Box(99, 38, 26, 24),
    "battery": Box(20, 177, 40, 38),
    "clamp": Box(58, 28, 26, 44),
    "control": Box(80, 116, 24, 24),
}
# The part each cause lies in; a wrong rating lies in none.
FLAGS = {
    "blown_fuse": "fuse",
    "contact_not_closing": "contact",
    "contact_resistance": "contact",
    "welded_contact": "contact",
    "outputs_exchanged": "output",
    "leads_doubled": "output",
    "open_stage_lead": "lead",
    "stage_joint_resistance": "lead",
    "open_coil": "coils",
    "shorted_turns": "coils",
    "shorted_coil": "coils",
    "coil_to_frame": "coils",
    "hot_coils": "coils",
    "retarder_ground": "retarder_ground",
    "chassis_ground": "chassis_ground",
    "supply_cable": "supply",
    "supply_joint": "supply",
    "main_supply_open": "supply",
    "low_supply": "battery",
    "clamp_zero": "clamp",
    "clamp_gain": "clamp",
    "control_ground_open": "control",
}
# Where the value of each kind of reading stands.
VALUES = {
    "volts": Place(176, 66, "start"),
    "current": Place(71, 22, "middle"),
    "quiescent_current": Place(50, 88, "start"),
    "fuse_drop": Place(222, 93, "start"),
    "contact_drop": Place(240, 132, "start"),
    "control_voltage": Place(92, 157, "middle"),
    "output_voltage": Place(246, 159, "start"),
    "stage_current": Place(150, 188, "end"),
    "coil_resistance": Place(150, 240, "end"),
    "insulation_resistance": Place(150, 296, "end"),
    "supply_drop": Place(112, 82, "middle"),
    "battery_voltage": Place(66, 208, "start"),
    "frame_ground_drop": Place(186, 326, "start"),
    "chassis_ground_drop": Place(104, 366, "middle"),
}
# The way of the two leads: first point, two corners with the meter between them, last point.
LEADS: dict[str, list[Point]] = {
    "output_voltage": [OUTPUT, (ASIDE, OUTPUT[1]), (ASIDE, CHASSIS[1]), CHASSIS],
    "contact_drop": [STUD, (ASIDE, STUD[1] + 24), (ASIDE, OUTPUT[1]), OUTPUT],
    "fuse_drop": [(COLUMN, 66), (ASIDE - 20, 66), (ASIDE - 20, 110), (COLUMN, 110)],
    "control_voltage": [CONTROL_INPUT, (68, CONTROL_INPUT[1]), (68, 310), CHASSIS],
    "coil_resistance": [(COLUMN, 178), (ASIDE, 178), (ASIDE, FRAME[1]), FRAME],
    "insulation_resistance": [(COLUMN, 178), (ASIDE, 178), (ASIDE, FRAME[1]), FRAME],
    "supply_drop": [POSITIVE_POST, (104, POSITIVE_POST[1]), (104, 90), STUD],
    "chassis_ground_drop": [CHASSIS, (104, 306), (104, NEGATIVE_POST[1]), NEGATIVE_POST],
    "frame_ground_drop": [FRAME, (ASIDE - 20, FRAME[1]), (ASIDE - 20, CHASSIS[1]), CHASSIS],
    "battery_voltage": [POSITIVE_POST, (88, POSITIVE_POST[1]), (88, NEGATIVE_POST[1]), NEGATIVE_POST],
}
CLAMPS = {"stage_current": Box(152, 175, 32, 16), "quiescent_current": Box(62, 32, 18, 36)}
