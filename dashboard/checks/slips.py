"""A decimal point left out, or volts and amps exchanged: asked about, and put right with one tap."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms

from inspections.expectation import Expected, are_swapped, is_too_high, slipped_current, slipped_voltage

FIELDS = ("supply_voltage_v", "current_a")


@dataclass(frozen=True, slots=True)
class Slip:
    """Volts and amps as typed, and what was probably meant by them."""

    typed_v: Decimal
    typed_a: Decimal
    meant_v: Decimal
    meant_a: Decimal
    system_voltage_v: float
    volts_too_high: bool
    swapped: bool

    @property
    def confirmation(self) -> str:
        """Return what the page sends back once the numbers are confirmed as typed."""
        return both(self.typed_v, self.typed_a)

    @property
    def correction(self) -> str:
        """Return what the page sends back to have the numbers put right."""
        return both(self.meant_v, self.meant_a)

    @property
    def volts_slipped(self) -> bool:
        """Tell whether the volts are asked about."""
        return self.typed_v != self.meant_v

    @property
    def amps_slipped(self) -> bool:
        """Tell whether the amps are asked about."""
        return self.typed_a != self.meant_a

    @property
    def can_be_put_right(self) -> bool:
        """Tell whether there is a correction to offer."""
        return self.volts_slipped or self.amps_slipped


def slip_of(
    post: Mapping[str, Any],
    form: forms.Form,
    system_voltage_v: float,
    expected_at: Callable[[Decimal], Expected | None] | None = None,
) -> Slip | None:
    """Return what to ask about; None where nothing is odd or the numbers were confirmed as typed."""
    typed_v, typed_a = (form.cleaned_data[field] for field in FIELDS)
    if post.get("confirmed") == both(typed_v, typed_a):
        return None
    swapped = are_swapped(typed_v, typed_a, system_voltage_v)
    meant_v, meant_a = (
        (typed_a, typed_v) if swapped else _without_slips(typed_v, typed_a, system_voltage_v, expected_at)
    )
    too_high = is_too_high(typed_v, system_voltage_v)
    slip = Slip(typed_v, typed_a, meant_v, meant_a, system_voltage_v, too_high, swapped)
    return slip if slip.can_be_put_right or slip.volts_too_high else None


def _without_slips(
    typed_v: Decimal,
    typed_a: Decimal,
    system_voltage_v: float,
    expected_at: Callable[[Decimal], Expected | None] | None,
) -> tuple[Decimal, Decimal]:
    meant_v = _plain(slipped_voltage(typed_v, system_voltage_v)) or typed_v
    meant_a = _plain(slipped_current(typed_a, expected_at(meant_v)) if expected_at else None) or typed_a
    return meant_v, meant_a


def put_right(post: Any) -> Any:
    """Return what was posted, with the correction taken where it was asked for.

    >>> put_right({"supply_voltage_v": "13.8", "current_a": "363", "take": "13.8 V 36.3 A"})["current_a"]
    '36.3'
    """
    if "take" not in post:
        return post
    taken = post.copy()
    taken["supply_voltage_v"], taken["current_a"] = taken["take"].removesuffix(" A").split(" V ", 1)
    return taken


def both(volts: Decimal, amps: Decimal) -> str:
    """Return volts and amps as one text.

    >>> both(Decimal("13.8"), Decimal("363"))
    '13.8 V 363 A'
    """
    return f"{volts:f} V {amps:f} A"


def _plain(number: Decimal | None) -> Decimal | None:
    """Return the number without the zeros that a shift of the point brought."""
    return None if number is None else Decimal(f"{number.normalize():f}")
