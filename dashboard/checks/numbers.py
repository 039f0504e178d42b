"""Numbers as people type them: a decimal comma is as good as a point, and the digits are kept."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

MOST_DIGITS = 12
MOST_PLACES = 6


class TypedDecimal(forms.DecimalField):
    """A measured number typed on a phone."""

    default_error_messages = {
        "invalid": _("Write one number, such as 36.3 or 36,3."),
        "required": _("Answer this."),
    }

    def __init__(self, *, low: float, high: float, **kwargs: Any) -> None:
        """Take the range that can be a reading at all."""
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(
            min_value=Decimal(str(low)),
            max_value=Decimal(str(high)),
            max_digits=MOST_DIGITS,
            decimal_places=MOST_PLACES,
            widget=widget,
            **kwargs,
        )

    def to_python(self, value: Any) -> Any:
        """Return the number; a comma is a decimal point."""
        return super().to_python(str(value).replace(",", ".") if isinstance(value, str) else value)


def typed(value: Decimal | None) -> str | None:
    """Return a number as it goes into a draft, its digits kept."""
    return None if value is None else f"{value:f}"
