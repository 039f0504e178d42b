"""Which checks are judged anew, and under what."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from accounts.models import DECISION_RULES, Depot, Organisation
from fleet.models import Installation, RetarderType
from inspections.models import Meter
from inspections.services.rejudging import Terms

RATINGS = [("newest", _("the newest rating on file")), ("as_judged", _("the rating each was judged by"))]
SELECTION = ("retarder_type", "revision", "meter", "depot", "since", "until")
GROUPS = [
    (
        _("Which checks"),
        _("Every choice narrows it down; none means all checks."),
        ("retarder_type", "revision", "meter", "depot", "since", "until", "serial_number"),
    ),
    (
        _("Held against what"),
        _("Empty: as each was judged."),
        (
            "rating",
            "decision_rule",
            "tolerance_lower_percent",
            "tolerance_upper_percent",
            "max_false_accept_probability",
        ),
    ),
    (
        _("A test meter's error, if that is why"),
        _("It is taken out of the readings of the meter chosen above; they stay as they were taken."),
        ("gain_percent", "zero"),
    ),
]
LEAST_PERCENT, MOST_PERCENT = 0.001, 100


class RejudgingForm(forms.Form):
    """A choice of checks and the terms they are judged anew under."""

    retarder_type = forms.ModelChoiceField(
        RetarderType.objects.none(), to_field_name="uuid", required=False, label=_("Type"), empty_label=_("all")
    )
    revision = forms.IntegerField(
        label=_("Judged by rating revision"), required=False, min_value=1, max_value=1_000_000
    )
    meter = forms.ModelChoiceField(
        Meter.objects.none(), to_field_name="uuid", required=False, label=_("Read with"), empty_label=_("all")
    )
    depot = forms.ModelChoiceField(
        Depot.objects.none(), to_field_name="uuid", required=False, label=_("Depot"), empty_label=_("all")
    )
    serial_number = forms.CharField(label=_("Serial number of one unit"), required=False, max_length=60)
    since = forms.DateField(label=_("From"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(label=_("Until"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    rating = forms.ChoiceField(label=_("Rating"), choices=RATINGS)
    decision_rule = forms.ChoiceField(
        label=_("Decision rule"), choices=[("", _("as each was judged")), *DECISION_RULES], required=False
    )
    max_false_accept_probability = forms.FloatField(
        label=_("Highest chance of a wrong pass, above 0 to 0.5"), required=False, max_value=0.5
    )
    tolerance_lower_percent = forms.FloatField(
        label=_("Tolerance below, %"), required=False, min_value=LEAST_PERCENT, max_value=MOST_PERCENT
    )
    tolerance_upper_percent = forms.FloatField(
        label=_("Tolerance above, %"), required=False, min_value=LEAST_PERCENT, max_value=MOST_PERCENT
    )
    gain_percent = forms.DecimalField(
        label=_("The test meter read too high by, %"), required=False, min_value=-99, max_value=99
    )
    zero = forms.DecimalField(label=_("The test meter showed with nothing connected, A or V"), required=False)
    reason = forms.CharField(label=_("Reason"), max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, organisation: Organisation, *args: Any, **kwargs: Any) -> None:
        """Offer what the organisation has."""
        super().__init__(*args, **kwargs)
        self.organisation = organisation
        choices: dict[str, Any] = {"retarder_type": RetarderType, "meter": Meter, "depot": Depot}
        for name, table in choices.items():
            field: Any = self.fields[name]
            field.queryset = table.objects.of(organisation).order_by("name" if name == "depot" else "designation")

    @property
    def groups(self) -> list[dict[str, Any]]:
        """Return the fields in groups, the reason left for the end."""
        return [
            {"words": words, "hint": hint, "fields": [self[name] for name in names]} for words, hint, names in GROUPS
        ]

    def clean_serial_number(self) -> Installation | None:
        """Return the newest fitting of the unit."""
        serial = self.cleaned_data["serial_number"].strip()
        if not serial:
            return None
        units = Installation.objects.of(self.organisation).filter(retarder__serial_number=serial)
        if (newest := units.order_by("-pk").first()) is None:
            raise forms.ValidationError(_("No unit has the serial number %(serial)s."), params={"serial": serial})
        return newest

    def clean(self) -> dict[str, Any]:
        """Refuse an error found in no meter."""
        cleaned: dict[str, Any] = super().clean() or {}
        errors = [name for name in ("gain_percent", "zero") if cleaned.get(name) is not None]
        if errors and not cleaned.get("meter"):
            self.add_error("meter", _("A correction is of one meter: choose the meter it was found in."))
        return cleaned

    def selection(self) -> dict[str, Any]:
        """Return the choice, ids for rows."""
        chosen = {name: self.cleaned_data.get(name) for name in SELECTION}
        named = {name: getattr(value, "uuid", value) for name, value in chosen.items()}
        unit = self.cleaned_data.get("serial_number")
        return named | ({"installation": unit.uuid} if unit else {})

    def terms(self) -> Terms:
        """Return the terms."""
        sent = self.cleaned_data
        return Terms(
            reason=sent["reason"],
            rating=sent["rating"],
            decision_rule=sent["decision_rule"] or None,
            max_false_accept_probability=sent["max_false_accept_probability"],
            tolerance_lower_percent=sent["tolerance_lower_percent"],
            tolerance_upper_percent=sent["tolerance_upper_percent"],
            corrections=_corrections(sent["meter"], sent["gain_percent"], sent["zero"]),
        )


def _corrections(meter: Meter | None, gain_percent: Decimal | None, zero: Decimal | None) -> dict[str, str]:
    if meter is None:
        return {}
    unit = {"ammeter": "a", "voltmeter": "v"}[meter.kind]
    found = {f"{meter.kind}_gain_percent": gain_percent, f"{meter.kind}_zero_{unit}": zero}
    return {key: str(error) for key, error in found.items() if error is not None}
