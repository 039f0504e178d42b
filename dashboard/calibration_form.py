"""The form of a calibration, as its certificate says."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

OUTCOMES = [("passed", _("passed")), ("failed", _("failed"))]


def _day(label: Any, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}), **options)


class CalibrationForm(forms.Form):
    """Day, next day, certificate and outcome."""

    performed_on = _day(_("Calibrated on"))
    due_on = _day(_("Next due on"), required=False)
    certificate = forms.CharField(label=_("Certificate"), max_length=100, required=False)
    passed = forms.ChoiceField(label=_("Outcome"), choices=OUTCOMES)

    def clean_passed(self) -> bool:
        """Return whether the meter was found good."""
        return bool(self.cleaned_data["passed"] == "passed")
