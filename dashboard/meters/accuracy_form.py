"""The form of what a meter states of its accuracy: a row for each of its ranges."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dashboard.checks.numbers import TypedDecimal
from inspections.models import Meter
from inspections.models.meters import RANGE_FIGURES

SPARE_ROWS = 2
MOST_ROWS = 10
LARGEST = 1_000_000


def _field(name: str) -> TypedDecimal:
    made = {
        "range_max": TypedDecimal(label=_("Up to"), low=0.000001, high=LARGEST, required=False),
        "accuracy_percent": TypedDecimal(label=_("± % of reading"), low=0, high=100, required=False),
        "accuracy_counts": TypedDecimal(label=_("plus counts"), low=0, high=10_000, required=False),
        "resolution": TypedDecimal(label=_("one count is"), low=0.000001, high=1_000, required=False),
    }
    return made[name]


class AccuracyForm(forms.Form):
    """A row a range, smallest first; rows left empty are none, and one row may leave its end open."""

    def __init__(self, *args: Any, meter: Meter | None = None, **kwargs: Any) -> None:
        """Show the ranges on file, none of a meter that is not on file yet, and some empty rows."""
        stated = (meter and meter.ranges) or [{name: getattr(meter, name, None) for name in RANGE_FIGURES}]
        self.numbers = range(1, min(len(stated) + SPARE_ROWS, MOST_ROWS) + 1)
        initial = {
            f"{name}_{number}": figures[name]
            for number, figures in enumerate(stated, start=1)
            for name in RANGE_FIGURES
            if figures[name] is not None
        }
        super().__init__(*args, **{"initial": initial} | kwargs)
        self.fields |= {f"{name}_{number}": _field(name) for number in self.numbers for name in RANGE_FIGURES}

    def rows(self) -> list[list[forms.BoundField]]:
        """Return the fields, a row a range."""
        return [[self[f"{name}_{number}"] for name in RANGE_FIGURES] for number in self.numbers]

    def clean(self) -> dict[str, Any]:
        """Return the accuracy as the service takes it: of one row the plain figures, of several the ranges."""
        data = super().clean() or {}
        filled = [row for number in self.numbers if (row := self._row(data, number))]
        typed_wrongly = any(f"{name}_{number}" in self.errors for number in self.numbers for name in RANGE_FIGURES)
        if not filled and not typed_wrongly:
            self.add_error("accuracy_percent_1", _("State at least one range."))
        for number in self.numbers:
            self._ask_for_the_rest(data, number, alone=len(filled) == 1)
        if len(filled) == 1:
            return {**filled[0], "range_max": filled[0].get("range_max"), "ranges": []}
        return {"ranges": filled}

    def _row(self, data: dict[str, Any], number: int) -> dict[str, Any]:
        return {name: value for name in RANGE_FIGURES if (value := data.get(f"{name}_{number}")) is not None}

    def _ask_for_the_rest(self, data: dict[str, Any], number: int, *, alone: bool) -> None:
        row = self._row(data, number)
        wanted: Sequence[str] = RANGE_FIGURES[1:] if alone else RANGE_FIGURES
        for name in wanted if row else ():
            if name not in row and f"{name}_{number}" not in self.errors:
                self.add_error(f"{name}_{number}", _("Needed for this range."))
