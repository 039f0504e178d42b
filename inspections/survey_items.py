"""What the control check and the mechanical survey look at, in words; the organisation adds, hides and renames."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from calc.evidence_apart import CONTROL_ITEMS, MECHANICAL_ITEMS

CONTROL, MECHANICAL = "control", "mechanical"
BUILT_IN = {CONTROL: CONTROL_ITEMS, MECHANICAL: MECHANICAL_ITEMS}
ITEM_WORDS: dict[str, Any] = {
    "drivers_lever": _("Driver's lever"),
    "foot_or_pressure_switch": _("Foot or pressure switch"),
    "off_throttle": _("Off-throttle"),
    "cut_out": _("Cut-out"),
    "drops_out_at_low_speed": _("Drops out at low speed"),
    "drops_out_under_abs": _("Drops out under ABS"),
    "no_stage_at_standstill": _("No stage on at standstill"),
    "stop_lamps": _("Stop lamps"),
    "air_gap": _("Air gap"),
    "rotor": _("Rotor"),
    "bearings": _("Bearings"),
    "mounts": _("Mounts"),
    "ground_straps": _("Ground straps"),
    "corrosion": _("Corrosion"),
    "ingress": _("Water or dirt inside"),
    "cables": _("Cables"),
}
# How many numbers an item is judged by, in mm, where its type states limits.
NUMBERS_MM = {"air_gap": 4, "rotor": 1, "bearings": 1}
NUMBER_WORDS: dict[str, Any] = {
    "air_gap": _("Air gap at four points, mm"),
    "rotor": _("Thickness of the rotor, mm"),
    "bearings": _("Play of the bearings, mm"),
}


@dataclass(frozen=True, slots=True)
class Item:
    """One item of a list; an empty name is the item's own."""

    code: str
    name: str = ""
    hidden: bool = False

    @property
    def word(self) -> str:
        """Return what a person reads."""
        return self.name or str(ITEM_WORDS.get(self.code, self.code))


def items_of(kind: str, stored: Iterable[Mapping[str, Any]]) -> tuple[Item, ...]:
    """Return a list as the organisation has it: as stored, then what the built-in list has and the stored does not."""
    own = tuple(Item(each["code"], each.get("name", ""), each.get("hidden", False)) for each in stored)
    named = {item.code for item in own}
    return own + tuple(Item(code) for code in BUILT_IN[kind] if code not in named)


def item_word(code: str, own_words: Mapping[str, str] | None = None) -> str:
    """Return what an item was called on the day of a check.

    >>> item_word("own_1", {"own_1": "Horn"})
    'Horn'
    """
    return (own_words or {}).get(code) or str(ITEM_WORDS.get(code, code))
