"""Numbers written as short as they are known."""

from decimal import Decimal
from typing import Any

from django import template

register = template.Library()


@register.filter
def amount(value: Any) -> str:
    """Return a number without the digits that arithmetic added.

    >>> amount(40.2), amount(13.600000000000001), amount(0.0), amount(None)
    ('40.2', '13.6', '0', '–')
    """
    if value is None:
        return "–"
    return f"{Decimal(f'{float(value):.6g}'):f}"
