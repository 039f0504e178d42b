"""The forms of what is looked at beside the amps: battery, control check, mechanical survey; all of it may be left."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dashboard.checks.forms import HIGHEST_VOLTAGE_V
from dashboard.checks.numbers import TypedDecimal, typed
from inspections.survey_items import NUMBER_WORDS, NUMBERS_MM, Item

FOUND = [("not_checked", _("Not checked")), ("good", _("Good")), ("bad", _("Bad"))]
BATTERY_WORDS = {
    "at_rest_v": _("At rest, engine off, V"),
    "charging_v": _("Charging, engine running, every stage off, V"),
    "all_stages_on_v": _("All stages on, V"),
    "after_10_s_v": _("The same ten seconds later, V"),
}
HIGHEST_MM = 10_000


class BatteryForm(forms.Form):
    """Volts across the battery posts."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Ask for what was read; each may be left empty."""
        super().__init__(*args, **kwargs)
        self.fields |= {
            name: TypedDecimal(label=word, low=0, high=HIGHEST_VOLTAGE_V, required=False)
            for name, word in BATTERY_WORDS.items()
        }

    def found(self) -> dict[str, str] | None:
        """Return what was read, None where nothing was."""
        read = {name: typed(volts) for name, volts in self.cleaned_data.items()}
        return {name: volts for name, volts in read.items() if volts is not None} or None


class ItemsForm(forms.Form):
    """Items one by one, each good, bad or not checked."""

    def __init__(self, *args: Any, items: Sequence[Item], **kwargs: Any) -> None:
        """Offer the organisation's items."""
        super().__init__(*args, **kwargs)
        self.items_asked = items
        for item in items:
            self.fields |= dict(self.item_fields(item))

    def item_fields(self, item: Item) -> Iterator[tuple[str, forms.Field]]:
        """Return the fields of one item."""
        yield (
            item.code,
            forms.ChoiceField(
                label=item.word, choices=FOUND, widget=forms.RadioSelect, initial="not_checked", required=False
            ),
        )

    def state(self, item: Item) -> str:
        """Return how an item was found."""
        return str(self.cleaned_data.get(item.code) or "not_checked")


class ControlForm(ItemsForm):
    """What the controls do."""

    def found(self) -> dict[str, str] | None:
        """Return every item with its state, None where nothing was looked at."""
        states = {item.code: self.state(item) for item in self.items_asked}
        return states if set(states.values()) - {"not_checked"} else None


class SurveyForm(ItemsForm):
    """What the machine looks like, with numbers where its type states limits or somebody measured."""

    def __init__(self, *args: Any, limits: Mapping[str, Mapping[str, Any]], **kwargs: Any) -> None:
        """Take the type's limits, to be shown beside the numbers."""
        self.limits = limits
        super().__init__(*args, **kwargs)

    def item_fields(self, item: Item) -> Iterator[tuple[str, forms.Field]]:
        """Return the state, and the numbers that the item can have."""
        yield from super().item_fields(item)
        for number in range(1, NUMBERS_MM.get(item.code, 0) + 1):
            label = NUMBER_WORDS[item.code]
            if NUMBERS_MM[item.code] > 1:
                label = _("%(what)s: point %(number)s") % {"what": item.word, "number": number}
            yield f"{item.code}_{number}", TypedDecimal(label=label, low=0, high=HIGHEST_MM, required=False)

    def rows(self) -> list[dict[str, Any]]:
        """Return each item with its fields and its type's limits."""
        return [
            {
                "state": self[item.code],
                "numbers": [self[name] for name in self._numbers(item)],
                "number_word": NUMBER_WORDS.get(item.code),
                "limits": self.limits.get(item.code) or {},
            }
            for item in self.items_asked
        ]

    def found(self) -> list[dict[str, Any]] | None:
        """Return every item with its state and numbers, None where nothing was looked at."""
        items = [self._found(item) for item in self.items_asked]
        return items if any(each["status"] != "not_checked" or each.get("values") for each in items) else None

    def _found(self, item: Item) -> dict[str, Any]:
        numbers = [self.cleaned_data.get(name) for name in self._numbers(item)]
        values = [typed(number) for number in numbers if isinstance(number, Decimal)]
        return {"code": item.code, "status": self.state(item), **({"values": values} if values else {})}

    @staticmethod
    def _numbers(item: Item) -> list[str]:
        return [f"{item.code}_{number}" for number in range(1, NUMBERS_MM.get(item.code, 0) + 1)]


def survey_initial(survey: Sequence[Mapping[str, Any]] | None) -> dict[str, Any]:
    """Return a kept survey as the form shows it.

    >>> survey_initial([{"code": "air_gap", "status": "good", "values": ["1.2", "1.3"]}])
    {'air_gap': 'good', 'air_gap_1': '1.2', 'air_gap_2': '1.3'}
    """
    shown: dict[str, Any] = {}
    for item in survey or []:
        shown[item["code"]] = item.get("status") or "not_checked"
        shown |= {f"{item['code']}_{number}": value for number, value in enumerate(item.get("values") or [], start=1)}
    return shown
