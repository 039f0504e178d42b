"""The second step at signing in: set up, its codes to fall back on, turned off."""

import base64
from binascii import unhexlify
from typing import Any

import segno
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from accounts.errors import Conflict, Refused
from accounts.services.two_step import (
    device_of,
    new_key,
    recovery_codes_left,
    renew_recovery_codes,
    set_up_two_step,
    turn_two_step_off,
    unsaved_device,
)
from dashboard.account_access import PersonPage
from dashboard.account_forms import CodeForm, SetUpForm, TurnOffForm
from dashboard.checks.faults import show_faults
from dashboard.signing_in import note_second_step, wanted_address

KEY = "second_step_key"


class TwoStep(PersonPage):
    """Sets the second step up, or says how it stands."""

    template_name = "dashboard/account/two_step.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the key of a new device, or that there is one."""
        device = device_of(self.person)
        if device is not None:
            return self.shown(device=device, codes_left=recovery_codes_left(self.person))
        return self._asked(SetUpForm())

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Take the first code."""
        form = SetUpForm(request.POST)
        if form.is_valid():
            try:
                codes = self._set_up(form.cleaned_data["code"])
            except Refused as refused:
                show_faults(form, refused)
            except Conflict as conflict:
                messages.info(request, conflict.detail)
                return redirect("dashboard:two-step")
        if form.errors:
            return self._asked(form)
        return self.shown_once("dashboard/account/recovery_codes.html", codes=codes, next=wanted_address(request))

    def _set_up(self, code: str) -> list[str]:
        session = self.request.session
        codes = set_up_two_step(
            self.person, key=self._key(), code=code, address=self.address, keep_session=session.session_key
        )
        del session[KEY]
        note_second_step(self.request)
        return codes

    def _key(self) -> str:
        """Return the key that waits for its first code; it stays the same until then."""
        session = self.request.session
        key: str = session.setdefault(KEY, new_key())
        return key

    def _asked(self, form: SetUpForm) -> HttpResponse:
        key = self._key()
        device = unsaved_device(self.person, key)
        # Made here out of a key of ours and the person's name in percent code; nothing in it is markup of theirs.
        drawing = mark_safe(segno.make(device.config_url, error="m").svg_inline(omitsize=True, light="#fff"))  # noqa: S308
        plain = base64.b32encode(unhexlify(key)).decode()
        typed = " ".join(plain[at : at + 4] for at in range(0, len(plain), 4))
        answer = self.shown(form=form, drawing=drawing, typed=typed, next=wanted_address(self.request))
        answer["Cache-Control"] = "no-store"
        return answer


class _WithDevice(PersonPage):
    """A page for who has the second step."""

    form_class: type[CodeForm]

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask."""
        if device_of(self.person) is None:
            raise Http404
        return self.shown(form=self.form_class())


class TurnOff(_WithDevice):
    """Turns the second step off; needs password and code."""

    template_name = "dashboard/account/two_step_off.html"
    form_class = TurnOffForm

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Turn it off."""
        form = TurnOffForm(request.POST)
        if form.is_valid():
            data = form.cleaned_data
            try:
                turn_two_step_off(self.person, password=data["password"], code=data["code"], address=self.address)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.shown(form=form)
        request.session.pop("second_step_passed", None)
        messages.success(request, _("The second step is off. From now on the password alone signs you in."))
        return redirect("dashboard:account")


class RecoveryCodes(_WithDevice):
    """Makes new codes to fall back on; the old ones are good no longer."""

    template_name = "dashboard/account/new_codes.html"
    form_class = CodeForm

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Make them."""
        form = CodeForm(request.POST)
        if form.is_valid():
            try:
                codes = renew_recovery_codes(self.person, code=form.cleaned_data["code"], address=self.address)
            except Refused as refused:
                show_faults(form, refused)
        if form.errors:
            return self.shown(form=form)
        return self.shown_once("dashboard/account/recovery_codes.html", codes=codes, next=wanted_address(request))
