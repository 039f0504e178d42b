"""The form of a comparison: the other meter, the day, and what both showed."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from dashboard.meters.lines import PairLines
from inspections.models import Meter


class ComparisonForm(forms.Form):
    """What two meters showed of one quantity at one time."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    readings = PairLines(
        label=_("What both showed"),
        names=("first", "second"),
        help_text=_("A line each: this meter, then the other, read together on the same cable: 36.3 35.9"),
    )
    note = forms.CharField(label=_("Note"), max_length=2_000, required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, others: Iterable[Meter], **kwargs: Any) -> None:
        """Offer the other meters of the kind."""
        super().__init__(*args, **kwargs)
        choices = [(str(meter.uuid), meter.designation) for meter in others]
        today = timezone.localdate()
        self.fields = {
            "second": forms.ChoiceField(label=_("The other one"), choices=choices),
            "compared_on": forms.DateField(
                label=_("Compared on"), initial=today, widget=forms.DateInput(attrs={"type": "date"})
            ),
            **self.fields,
        }

    def clean_second(self) -> UUID:
        """Return the other meter's id."""
        return UUID(self.cleaned_data["second"])
