"""The forms of a calibration: as its certificate says, and judging anew what was read with a meter found wrong."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dashboard.checks.numbers import TypedDecimal
from dashboard.meters.lines import PairLines

POINT = ("applied", "shown")
FOUND = [
    ("by_points", _("follows from the values as found")),
    ("yes", _("within its accuracy")),
    ("no", _("out of tolerance")),
]
OUTCOMES = [
    ("by_points", _("follows from the values as left")),
    ("passed", _("passed: good to use")),
    ("failed", _("failed: not to be used")),
]
ANSWERS = {"yes": True, "no": False, "passed": True, "failed": False}


def _day(label: Any, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}), **options)


class CalibrationForm(forms.Form):
    """Day, next day, certificate, values as found and as left, and what came of it."""

    performed_on = _day(_("Calibrated on"))
    due_on = _day(_("Next due on"), required=False)
    certificate = forms.CharField(label=_("Certificate"), max_length=100, required=False)
    as_found = PairLines(
        label=_("Values as found"),
        names=POINT,
        required=False,
        help_text=_("Before any adjustment; a line each, what was applied and what the meter showed: 30.0 30.4"),
    )
    found_in_tolerance = forms.ChoiceField(label=_("As found"), choices=FOUND, required=False)
    as_left = PairLines(
        label=_("Values as left"), names=POINT, required=False, help_text=_("After the adjustment, if there was one.")
    )
    passed = forms.ChoiceField(label=_("Outcome"), choices=OUTCOMES, required=False)

    def clean(self) -> dict[str, Any]:
        """Return what is stated, and leave out what follows from the values."""
        data = super().clean() or {}
        said = {name: ANSWERS.get(data.pop(name, "")) for name in ("found_in_tolerance", "passed")}
        points = {name: data.pop(name, None) or None for name in ("as_found", "as_left")}
        if all(answer is None for answer in (*said.values(), *points.values())) and not self.errors:
            self.add_error("passed", _("State the outcome, or the values it follows from."))
        stated = {name: answer for name, answer in {**said, **points}.items() if answer is not None}
        return data | stated


class DoubtForm(forms.Form):
    """With which error the checks in doubt are judged anew, and why."""

    reason = forms.CharField(label=_("Reason"), max_length=1_000, widget=forms.Textarea(attrs={"rows": 2}))
    gain_percent = TypedDecimal(label=_("It showed too much by, %"), low=-90, high=1_000, required=False)
    zero = TypedDecimal(label=_("and by, whatever was applied"), low=-1_000_000, high=1_000_000, required=False)
