"""The forms of a defect's steps, and which service each is taken by."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from accounts.roles import Ability
from calc.hypotheses import CAUSES
from inspections.models import RELEASE_DECISIONS, Defect
from inspections.sentences_causes import CAUSE_WORDS
from inspections.services.defect_life import (
    certify_repair_unnecessary,
    decide_release,
    note_driver_told,
    record_repair,
    settle_changed_verdict,
)

LONGEST_TEXT = 2000


def _text(label: Any, **options: Any) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": 2})
    return forms.CharField(label=label, max_length=LONGEST_TEXT, widget=widget, **options)


class ReleaseForm(forms.Form):
    """Whether and how the vehicle may run."""

    decision = forms.ChoiceField(label=_("May it run?"), choices=RELEASE_DECISIONS)
    until = forms.DateField(label=_("Until"), widget=forms.DateInput(attrs={"type": "date"}))
    reason = _text(_("Reason"))


class DriverForm(forms.Form):
    """Who was told."""

    driver = forms.CharField(label=_("Name of the driver"), max_length=200)


class RepairForm(forms.Form):
    """What was done."""

    done = _text(_("What was done"))
    parts = _text(_("Parts, one a line"), required=False)
    cause = forms.ChoiceField(
        label=_("Cause found"),
        choices=[("", _("not known")), *((cause, CAUSE_WORDS[cause]) for cause in CAUSES)],
        required=False,
    )

    def clean_parts(self) -> list[str]:
        """Return one part a line."""
        lines = (line.strip() for line in self.cleaned_data["parts"].splitlines())
        return [line for line in lines if line]


class UnnecessaryForm(forms.Form):
    """Why nothing has to be repaired."""

    reason = _text(_("Reason"))


class SettleForm(forms.Form):
    """Why the defect stands although the verdict it rests on was given anew."""

    reason = _text(_("Reason"))


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that can be done about a defect."""

    title: "str | Promise"
    button: "str | Promise"
    form: type[forms.Form]
    take: Callable[..., Defect]
    ability: Ability


STEPS = {
    "release": Step(_("Decide the release"), _("Decide"), ReleaseForm, decide_release, Ability.MANAGE),
    "driver-told": Step(_("Driver told"), _("Note it"), DriverForm, note_driver_told, Ability.CAPTURE),
    "repair": Step(_("Record a repair"), _("Record it"), RepairForm, record_repair, Ability.SIGN),
    "repair-unnecessary": Step(
        _("Repair unnecessary"),
        _("Close without a repair"),
        UnnecessaryForm,
        certify_repair_unnecessary,
        Ability.MANAGE,
    ),
    "settle-verdict": Step(
        _("Its verdict was given anew with another outcome"),
        _("Let the defect stand"),
        SettleForm,
        settle_changed_verdict,
        Ability.MANAGE,
    ),
}
