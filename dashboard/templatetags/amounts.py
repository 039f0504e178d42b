"""Numbers written as short as they are known."""

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from django import template

register = template.Library()
HIGHEST_PROBABILITY_WRITTEN = 0.9999


@register.filter
def amount(value: Any) -> str:
    """Return a number without the digits that arithmetic added.

    >>> amount(40.2), amount(13.600000000000001), amount(0.0), amount(None)
    ('40.2', '13.6', '0', '–')
    """
    if value is None:
        return "–"
    return f"{Decimal(f'{float(value):.6g}'):f}"


@register.filter
def term(value: Any) -> str:
    """Return a number as it stands behind a sign: a negative one in brackets.

    >>> term(-0.1), term(0.1)
    ('(−0.1)', '0.1')
    """
    written = amount(value)
    return f"(−{written[1:]})" if written.startswith("-") else written


@register.filter
def signed(value: Any) -> str:
    """Return a number with its sign, as errors are written.

    >>> signed(-4.0), signed(0.25), signed(0.0)
    ('−4', '+0.25', '0')
    """
    written = amount(value)
    if written.startswith("-"):
        return f"−{written[1:]}"
    return written if written in ("0", "–") else f"+{written}"


@register.filter
def probability(value: float | None) -> str:
    """Return a probability to four places; what four places cannot tell from certainty is given as a bound.

    >>> probability(0.99996), probability(0.9732), probability(0.00001), probability(None)
    ('> 0.9999', '0.9732', '< 0.0001', '–')
    """
    if value is None:
        return "–"
    if value > HIGHEST_PROBABILITY_WRITTEN:
        return f"> {HIGHEST_PROBABILITY_WRITTEN}"
    if value < 1 - HIGHEST_PROBABILITY_WRITTEN:
        return "< 0.0001"
    return f"{value:.4f}"


@register.filter
def at_most(value: Any) -> str:
    """Return a bound that must be kept, rounded down to two digits.

    >>> at_most(16.0342), at_most(0.2199), at_most(3.0)
    ('16', '0.21', '3')
    """
    return _two_digits(value, ROUND_FLOOR)


@register.filter
def at_least(value: Any) -> str:
    """Return a bound that is claimed, rounded up to two digits.

    >>> at_least("15.96"), at_least(0.4037), at_least(None)
    ('16', '0.41', '–')
    """
    return _two_digits(value, ROUND_CEILING)


@register.filter
def uncertainty(value: Any) -> str:
    """Return an uncertainty to two digits (JCGM 100, 7.2.6).

    >>> uncertainty(1.5533), uncertainty(28.05), uncertainty(10.47), uncertainty(0.9967), uncertainty(None)
    ('1.6', '28', '10', '1.0', '–')
    """
    return "–" if value is None else f"{_to_the_place_of(value, value):f}"


@register.filter
def beside(value: Any, uncertain_by: Any) -> str:
    """Return a value to the place of the uncertainty it stands beside (JCGM 100, 7.2.6); to two places without one.

    >>> beside(10.05762, 0.027), beside(34.97, 1.5533), beside(34.97, 0.9967), beside(34.971, None)
    ('10.058', '35.0', '35.0', '34.97')
    """
    if value is None:
        return "–"
    return f"{value:.2f}" if uncertain_by is None else f"{_to_the_place_of(value, uncertain_by):f}"


def _to_the_place_of(value: Any, uncertain_by: Any) -> Decimal:
    # Rounding may carry: 0.9967 to two digits is 1.0, whose last place is the tenth.
    last_place = Decimal(f"{float(uncertain_by):.1e}").adjusted() - 1
    return Decimal(f"{float(value):.12g}").quantize(Decimal(1).scaleb(min(last_place, 0)))


def _two_digits(value: Any, rounding: str) -> str:
    if value is None:
        return "–"
    exact = Decimal(f"{float(value):.6g}")
    last_digit = Decimal(1).scaleb(exact.adjusted() - 1)
    return amount(exact.quantize(last_digit, rounding=rounding))
