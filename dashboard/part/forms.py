"""The forms of "Find the part": one reading with its place and state, and which reading is to be taken instead."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from accounts.identity import new_id
from calc.diagnosis.observations import ISOLATED_KINDS
from calc.evidence import Rating
from dashboard.checks.numbers import TypedDecimal
from inspections.sentences_readings import READING_WORDS

LIMITS = {"V": (-1_000.0, 1_000.0), "A": (-1_000_000.0, 1_000_000.0), "Ω": (0.0, 1_000_000_000.0)}
KINDS = [(kind, words.name) for kind, words in READING_WORDS.items()]


def coils_of(rating: Rating) -> int:
    """Return how many coils a stage has."""
    return rating.coils_in_series * rating.coils_in_parallel


def _numbered(label: Any, count: int) -> forms.TypedChoiceField:
    choices = [("", _("none")), *((str(each), str(each)) for each in range(1, count + 1))]
    return forms.TypedChoiceField(label=label, choices=choices, coerce=int, required=False, empty_value=None)


class ChooseForm(forms.Form):
    """Which reading is taken, where one does not take what is asked for."""

    kind = forms.ChoiceField(label=_("Reading"), choices=KINDS)

    def __init__(self, *args: Any, rating: Rating, **kwargs: Any) -> None:
        """Offer the unit's stages and coils."""
        super().__init__(*args, **kwargs)
        self.fields["stage"] = _numbered(_("Stage"), rating.stages)
        self.fields["coil"] = _numbered(_("Coil"), coils_of(rating))

    def clean(self) -> dict[str, Any]:
        """Ask for a stage and a coil where the kind has one, and leave them out where it has none."""
        data = super().clean() or {}
        words = READING_WORDS.get(data.get("kind", ""))
        if words is None:
            return data
        if words.of_stage and data.get("stage") is None and "stage" not in self.errors:
            self.add_error("stage", _("Say which stage."))
        if words.of_coil and data.get("coil") is None and "coil" not in self.errors:
            self.add_error("coil", _("Say which coil, counted from the stage lead."))
        stage = data.get("stage") if words.of_stage else None
        return data | {"stage": stage, "coil": data.get("coil") if words.of_coil else None}


class TakenForm(ChooseForm):
    """One reading as the meter showed it, with where and in which state it was taken."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    value = TypedDecimal(label=_("Reading"), low=-1_000_000_000, high=1_000_000_000, required=False)
    over_range = forms.BooleanField(label=_("Over range: the meter shows no value"), required=False)

    def __init__(self, *args: Any, rating: Rating, fixed_state: bool = True, **kwargs: Any) -> None:
        """Hide what is settled already: place, and the state unless the person says it."""
        super().__init__(*args, rating=rating, **kwargs)
        for name in ("kind", "stage", "coil"):
            self.fields[name].widget = forms.HiddenInput()
        self.fields["energised"] = forms.TypedMultipleChoiceField(
            label=_("Stages on"),
            choices=[(stage, str(stage)) for stage in range(1, rating.stages + 1)],
            coerce=int,
            required=False,
            widget=forms.MultipleHiddenInput if fixed_state else forms.CheckboxSelectMultiple,
        )
        kind = self["kind"].value()
        words = READING_WORDS.get(kind)
        if words is not None:
            self.fields["value"].label = f"{str(words.name).capitalize()}, {words.unit}"
            if words.unit != "Ω":
                del self.fields["over_range"]

    def clean(self) -> dict[str, Any]:
        """Ask for a value or for over range, never both, and for the state that the kind needs."""
        data = super().clean()
        kind = data.get("kind", "")
        if kind not in READING_WORDS:
            return data
        self._check_value(data, READING_WORDS[kind].unit)
        if kind in ISOLATED_KINDS or kind == "quiescent_current":
            data["energised"] = []
        elif not data.get("energised"):
            self.add_error("energised", _("Say which stages were on."))
        return data | {"over_range": bool(data.get("over_range"))}

    def document(self) -> dict[str, Any]:
        """Return the reading as the service stores it."""
        return {key: value for key, value in self.cleaned_data.items() if value is not None}

    def _check_value(self, data: dict[str, Any], unit: str) -> None:
        if "value" in self.errors:
            return
        value, over_range = data.get("value"), bool(data.get("over_range"))
        low, high = LIMITS[unit]
        if over_range and value is not None:
            self.add_error("value", _("Either a value or over range."))
        elif not over_range and value is None:
            self.add_error("value", _("Answer this."))
        elif value is not None and not low <= float(value) <= high:
            detail = gettext("%(value)s %(unit)s; allowed is %(low)g to %(high)g.")
            self.add_error("value", detail % {"value": value, "unit": unit, "low": low, "high": high})


def fresh(kind: str, stage: int | None, coil: int | None, energised: Sequence[int]) -> dict[str, Any]:
    """Return what a form for a reading begins with; its id is the one it will be stored under."""
    return {"id": new_id(), "kind": kind, "stage": stage, "coil": coil, "energised": list(energised)}
