"""The form of what the control check and the mechanical survey look at."""

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inspections.limits import OwnLimits
from inspections.services.limits import LONGEST_NAME
from inspections.survey_items import CONTROL, ITEM_WORDS, MECHANICAL, Item

KINDS = (CONTROL, MECHANICAL)
KIND_WORDS = {CONTROL: _("Control check"), MECHANICAL: _("Mechanical survey")}
_OWN = re.compile(r"own_(\d+)")


class ListsForm(forms.Form):
    """Each item by its own words, hidden or shown, and one more for either list."""

    opened = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, own: OwnLimits, **kwargs: Any) -> None:
        """Show both lists as they are."""
        self.items_now = {CONTROL: own.control_items, MECHANICAL: own.mechanical_items}
        super().__init__(*args, **{"initial": {"opened": own.number}} | kwargs)
        for kind in KINDS:
            for item in self.items_now[kind]:
                self.fields |= self._fields(kind, item)
            self.fields[f"{kind}_new"] = forms.CharField(
                label=_("One more item"), max_length=LONGEST_NAME, required=False
            )

    def _fields(self, kind: str, item: Item) -> dict[str, forms.Field]:
        built_in = item.code in ITEM_WORDS
        name = forms.CharField(
            label=_("Words for “%(item)s”") % {"item": item.word},
            max_length=LONGEST_NAME,
            required=not built_in,
            initial=item.word,
        )
        shown = forms.BooleanField(
            label=_("“%(item)s” is looked at") % {"item": item.word}, required=False, initial=not item.hidden
        )
        return {f"{kind}_name_{item.code}": name, f"{kind}_shown_{item.code}": shown}

    def rows(self) -> list[dict[str, Any]]:
        """Return each list with its rows and its field for one more."""
        return [
            {
                "word": KIND_WORDS[kind],
                "items": [
                    (item, self[f"{kind}_name_{item.code}"], self[f"{kind}_shown_{item.code}"])
                    for item in self.items_now[kind]
                ],
                "more": self[f"{kind}_new"],
            }
            for kind in KINDS
        ]

    def lists(self) -> dict[str, Any]:
        """Return both lists as the service takes them."""
        return {"opened": self.cleaned_data["opened"]} | {f"{kind}_items": self._list(kind) for kind in KINDS}

    def _list(self, kind: str) -> list[Item]:
        data = self.cleaned_data
        items = [
            Item(item.code, _own_name(item, data[f"{kind}_name_{item.code}"]), not data[f"{kind}_shown_{item.code}"])
            for item in self.items_now[kind]
        ]
        name = data[f"{kind}_new"]
        return [*items, Item(f"own_{self._next_number()}", name)] if name else items

    def _next_number(self) -> int:
        # Both lists count together, and a number is never used again: stored evidence names an item by it.
        codes = [item.code for kind in KINDS for item in self.items_now[kind]]
        taken = [int(found[1]) for code in codes if (found := _OWN.fullmatch(code))]
        self.given = getattr(self, "given", max(taken, default=0)) + 1
        return self.given


def _own_name(item: Item, typed: str) -> str:
    built_in = ITEM_WORDS.get(item.code)
    return "" if built_in is not None and typed in ("", str(built_in)) else typed
