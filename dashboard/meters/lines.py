"""Pairs of numbers typed one pair a line, their digits kept."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dashboard.checks.numbers import TypedDecimal

MOST_LINES = 50
LARGEST = 1_000_000
PAIR = 2


class PairLines(forms.CharField):
    """Lines of two numbers with blanks between; a decimal comma is as good as a point."""

    widget = forms.Textarea

    def __init__(self, *, names: tuple[str, str], **kwargs: Any) -> None:
        """Take what the two numbers of a line are called."""
        widget = forms.Textarea(attrs={"rows": 3, "inputmode": "text", "autocomplete": "off", "spellcheck": "false"})
        super().__init__(max_length=2_000, widget=widget, **kwargs)
        self.names = names

    def clean(self, value: Any) -> list[dict[str, Decimal]]:
        """Return one pair a line; what is no pair is named by its line."""
        lines = [line.strip() for line in super().clean(value).splitlines() if line.strip()]
        if len(lines) > MOST_LINES:
            raise forms.ValidationError(_("More than %(most)s lines."), params={"most": MOST_LINES})
        return [self._pair(number, line) for number, line in enumerate(lines, start=1)]

    def _pair(self, number: int, line: str) -> dict[str, Decimal]:
        amount = TypedDecimal(low=-LARGEST, high=LARGEST)
        try:
            numbers = [amount.clean(part) for part in line.replace(";", " ").split()]
        except forms.ValidationError:
            numbers = []
        if len(numbers) != PAIR:
            wanted = _("Line %(number)s, “%(line)s”, is not two numbers with a blank between.")
            raise forms.ValidationError(wanted, params={"number": number, "line": line[:40]})
        return dict(zip(self.names, numbers, strict=True))


def as_lines(pairs: list[dict[str, Any]] | None, names: tuple[str, str]) -> str:
    """Return pairs as they are typed.

    >>> as_lines([{"applied": "30.0", "shown": "30.4"}], ("applied", "shown"))
    '30.0 30.4'
    """
    return "\n".join(" ".join(str(pair[name]) for name in names) for pair in pairs or [])
