"""The form of a type's limits for the mechanical survey."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dashboard.checks.apart_forms import HIGHEST_MM
from dashboard.checks.numbers import TypedDecimal
from inspections.services.survey_limits import ENDS
from inspections.survey_items import NUMBER_WORDS, NUMBERS_MM

END_WORDS = {"lower_limit": _("at least"), "upper_limit": _("at most")}


class SurveyLimitsForm(forms.Form):
    """A lower and an upper limit for each item that has numbers; an empty one is none."""

    def __init__(self, *args: Any, stated: Mapping[str, Mapping[str, float]], **kwargs: Any) -> None:
        """Show what is on file."""
        initial = {
            f"{code}_{end}": f"{ends[end]:g}"
            for code, ends in stated.items()
            for end in ENDS
            if ends.get(end) is not None
        }
        super().__init__(*args, **{"initial": initial} | kwargs)
        self.fields |= {
            f"{code}_{end}": TypedDecimal(label=END_WORDS[end], low=0, high=HIGHEST_MM, required=False)
            for code in NUMBERS_MM
            for end in ENDS
        }
        self.fields["reason"] = forms.CharField(
            label=_("Where the limits come from"), max_length=500, widget=forms.Textarea(attrs={"rows": 2})
        )

    def rows(self) -> list[tuple[Any, list[forms.BoundField]]]:
        """Return each item's words with its two fields."""
        return [(NUMBER_WORDS[code], [self[f"{code}_{end}"] for end in ENDS]) for code in NUMBERS_MM]

    def limits(self) -> dict[str, dict[str, Any]]:
        """Return the limits as the service takes them."""
        return {code: {end: self.cleaned_data[f"{code}_{end}"] for end in ENDS} for code in NUMBERS_MM}
