"""The form of a test meter that is put on file: what it is called, and what its booklet states."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dashboard.meters.accuracy_form import AccuracyForm
from inspections.models import Meter


class NewMeterForm(AccuracyForm):
    """Kind, name and serial number above the ranges."""

    kind = forms.ChoiceField(label=_("Kind"), choices=Meter.KINDS, widget=forms.RadioSelect, initial="ammeter")
    designation = forms.CharField(
        label=_("Name of the meter"), max_length=100, help_text=_("As it is called in the workshop, such as “Clamp 2”.")
    )
    serial_number = forms.CharField(label=_("Serial number"), max_length=60, required=False)

    def named(self) -> list[forms.BoundField]:
        """Return the fields above the ranges."""
        return [self[name] for name in NAMES]

    def clean(self) -> dict[str, Any]:
        """Return the columns of the meter."""
        names = {name: value for name, value in self.cleaned_data.items() if name in NAMES}
        return names | super().clean()


NAMES = ("kind", "designation", "serial_number")
