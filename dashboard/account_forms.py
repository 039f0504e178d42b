"""The forms of one's own account and of the people in a book."""

import datetime as dt
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from accounts.models import TOKEN_SCOPES
from accounts.roles import ROLE_CHOICES, Role

LIVES = [(30, _("30 days")), (90, _("90 days")), (365, _("a year"))]
LONGEST_PASSWORD = 200


def _password(label: Any, autocomplete: str, **options: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
    return forms.CharField(label=label, strip=False, max_length=LONGEST_PASSWORD, widget=widget, **options)


class CodeForm(forms.Form):
    """A code of the device, or one to fall back on."""

    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "spellcheck": "false"}),
    )


class SetUpForm(forms.Form):
    """The first code of a new device."""

    code = forms.CharField(
        label=_("The six digits it shows now"),
        max_length=10,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric"}),
    )

    def clean_code(self) -> str:
        """Leave blanks out."""
        return str(self.cleaned_data["code"]).replace(" ", "")


class TurnOffForm(CodeForm):
    """Password and code together."""

    password = _password(_("Your password"), "current-password")
    field_order = ["password", "code"]


class PasswordForm(forms.Form):
    """The password of now, and the next one twice."""

    old_password = _password(_("Present password"), "current-password")
    new_password = _password(_("New password"), "new-password", help_text=_("At least 10 characters, not a usual one."))
    again = _password(_("New password once more"), "new-password")

    def clean_again(self) -> str:
        """See that both are the same."""
        again = str(self.cleaned_data["again"])
        if again != self.cleaned_data.get("new_password", again):
            raise forms.ValidationError(_("This is not what was typed above."))
        return again


class _EndDate(forms.DateField):
    """A last day of access, today or later."""

    def __init__(self, **options: Any) -> None:
        """Ask by a date field."""
        super().__init__(required=False, widget=forms.DateInput(attrs={"type": "date"}), **options)

    def validate(self, value: dt.date | None) -> None:
        """Refuse a day that is gone."""
        super().validate(value)
        if value is not None and value < timezone.now().date():
            raise forms.ValidationError(_("%(day)s is gone already."), params={"day": value.isoformat()})


class InviteForm(forms.Form):
    """Whom to invite, as what, until when."""

    name = forms.CharField(label=_("Name"), max_length=200)
    email = forms.EmailField(
        label=_("Mail address"), required=False, help_text=_("Empty: hand the link over yourself.")
    )
    role = forms.ChoiceField(label=_("Role"))
    access_ends_on = _EndDate(label=_("Access until"), help_text=_("Empty: no end."))

    def __init__(self, *args: Any, roles: list[Role], **kwargs: Any) -> None:
        """Offer the roles that can be given."""
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = roles_offered(roles)  # type: ignore[attr-defined]


class RoleForm(forms.Form):
    """Another role."""

    role = forms.ChoiceField(label=_("Role"))

    def __init__(self, *args: Any, roles: list[Role], **kwargs: Any) -> None:
        """Offer the roles that can be given."""
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = roles_offered(roles)  # type: ignore[attr-defined]


class EndForm(forms.Form):
    """The last day of access."""

    ends_on = _EndDate(label=_("Access until"), help_text=_("Empty: no end."))


class ReasonForm(forms.Form):
    """Why somebody is removed."""

    reason = forms.CharField(label=_("Reason"), max_length=500, required=False)


class NameForm(forms.Form):
    """Another name for a person who was removed, and why."""

    new_name = forms.CharField(
        label=_("Name to stand in its place"),
        max_length=150,
        help_text=_("Such as a number by which the office knows the person."),
    )
    reason = forms.CharField(label=_("Reason"), max_length=500)


class BookForm(forms.Form):
    """Name and postal address of the organisation."""

    name = forms.CharField(label=_("Name"), max_length=200)
    address = forms.CharField(
        label=_("Postal address"), max_length=500, required=False, widget=forms.Textarea(attrs={"rows": 4})
    )


class JoinForm(forms.Form):
    """Name and password of a new person."""

    username = forms.CharField(
        label=_("Name to sign in with"),
        max_length=150,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    full_name = forms.CharField(label=_("Your name, as it stands on checks"), max_length=200, required=False)
    password = _password(_("Password"), "new-password", help_text=_("At least 10 characters, not a usual one."))
    again = _password(_("Password once more"), "new-password")

    def clean_again(self) -> str:
        """See that both are the same."""
        again = str(self.cleaned_data["again"])
        if again != self.cleaned_data.get("password", again):
            raise forms.ValidationError(_("This is not what was typed above."))
        return again


class TokenForm(forms.Form):
    """What a token is for, what it may, and how long."""

    name = forms.CharField(label=_("What it is for"), max_length=100)
    scope = forms.ChoiceField(label=_("What it may do"), choices=TOKEN_SCOPES, widget=forms.RadioSelect, initial="read")
    days = forms.TypedChoiceField(label=_("Good for"), choices=LIVES, coerce=int, initial=90)


def roles_offered(roles: list[Role]) -> list[tuple[str, Any]]:
    """Return the roles with their words."""
    offered = {role.value for role in roles}
    return [(value, word) for value, word in ROLE_CHOICES if value in offered]
