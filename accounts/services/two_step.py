"""The second step at signing in: a code from the person's own device, or one of the codes to fall back on.

References
----------
RFC 6238 (time-based codes), through django-otp; a code is good once, because the last accepted time step is kept.
"""

import base64
import hashlib
import secrets
import time

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django_otp import verify_token
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from accounts.errors import Conflict, Fault, Refused
from accounts.models import RecoveryCode, User
from accounts.services.guesses import refuse_wrong_own_password
from accounts.services.people import tell_of_person
from accounts.services.sessions import end_sessions

KEY_BYTES = 20
STEP_SECONDS, DIGITS, TOLERANCE_STEPS = 30, 6, 1
RECOVERY_CODES, RECOVERY_BYTES, GROUP = 10, 10, 4


def new_key() -> str:
    """Return a key of 160 bits, as RFC 4226 recommends, in hexadecimal."""
    return secrets.token_hex(KEY_BYTES)


def device_of(user: User) -> TOTPDevice | None:
    """Return the device whose codes the person signs in with."""
    return TOTPDevice.objects.filter(user=user, confirmed=True).order_by("pk").first()


def unsaved_device(user: User, key: str) -> TOTPDevice:
    """Return a device that is not set up yet, for its address."""
    return TOTPDevice(user=user, name="phone", key=key, step=STEP_SECONDS, digits=DIGITS, tolerance=TOLERANCE_STEPS)


@transaction.atomic
def set_up_two_step(user: User, *, key: str, code: str, address: str, keep_session: str | None) -> list[str]:
    """Turn the second step on by its first code, end the other sessions, and return the codes to fall back on.

    The codes are shown only now.  Raises Refused where the code does not fit the key.
    """
    person = User.objects.select_for_update(no_key=True).get(pk=user.pk)
    if device_of(person) is not None:
        raise Conflict(_("The second step is set up already."))
    device = unsaved_device(person, key)
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits)
    totp.time = time.time()
    if not code.isascii() or not code.isdigit() or not totp.verify(int(code), tolerance=TOLERANCE_STEPS):
        raise Refused(Fault(("code",), "wrong", _wrong_code()))
    device.last_t, device.drift, device.confirmed = totp.t(), totp.drift, True
    device.save()
    codes = _new_recovery_codes(person)
    end_sessions(person, but=keep_session)
    tell_of_person(person, "set_up_two_step", address=address)
    return codes


def take_second_step(user: User, code: str) -> None:
    """Accept a code of the device, or one to fall back on, once; raises Refused with what to do.

    Call it outside a transaction of your own that an error would undo: a wrong try has to be counted.
    """
    device = device_of(user)
    plain = code.replace(" ", "").replace("-", "")
    if device is None or not plain:
        raise Refused(Fault(("code",), "wrong", _wrong_code()))
    if len(plain) > DIGITS:
        if not _spend_recovery_code(user, plain):
            raise Refused(Fault(("code",), "wrong", _("That code to fall back on is unknown or was used already.")))
        return
    _refuse_while_locked(device)
    if not verify_token(user, device.persistent_id, plain):
        raise Refused(Fault(("code",), "wrong", _wrong_code()))


def _refuse_while_locked(device: TOTPDevice) -> None:
    allowed, why = device.verify_is_allowed()
    if allowed:
        return
    seconds = max(1, round((why["locked_until"] - timezone.now()).total_seconds() + 0.5))
    sentence = ngettext(
        "Too many wrong codes. Try again in %(seconds)s second.",
        "Too many wrong codes. Try again in %(seconds)s seconds.",
        seconds,
    )
    raise Refused(Fault(("code",), "locked", sentence % {"seconds": seconds}))


def _wrong_code() -> str:
    return _("That code is not right, or was used already. Wait for the next one and type its six digits.")


def turn_two_step_off(user: User, *, password: str, code: str, address: str) -> None:
    """Turn the second step off; needs the password and a code, so that an open screen is not enough."""
    wrong = _("That is not your password.")
    refuse_wrong_own_password(user, password, field="password", wrong=wrong)
    take_second_step(user, code)
    with transaction.atomic():
        TOTPDevice.objects.filter(user=user).delete()
        RecoveryCode.objects.filter(user=user).delete()
        tell_of_person(user, "turn_two_step_off", address=address)


def renew_recovery_codes(user: User, *, code: str, address: str) -> list[str]:
    """Replace all codes to fall back on, and return the new ones, which are shown only now."""
    take_second_step(user, code)
    with transaction.atomic():
        tell_of_person(user, "renew_recovery_codes", address=address)
        return _new_recovery_codes(user)


def recovery_codes_left(user: User) -> int:
    """Return how many codes to fall back on are unused."""
    return RecoveryCode.objects.filter(user=user, used_at__isnull=True).count()


def _new_recovery_codes(user: User) -> list[str]:
    RecoveryCode.objects.filter(user=user).delete()
    plain = [base64.b32encode(secrets.token_bytes(RECOVERY_BYTES)).decode() for _number in range(RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create([RecoveryCode(user=user, digest=_digest(each)) for each in plain])
    return ["-".join(each[at : at + GROUP] for at in range(0, len(each), GROUP)) for each in plain]


def _spend_recovery_code(user: User, plain: str) -> bool:
    unused = RecoveryCode.objects.filter(user=user, digest=_digest(plain.upper()), used_at__isnull=True)
    return bool(unused.update(used_at=timezone.now()))


def _digest(plain: str) -> str:
    # 80 random bits: no table and no guessing reaches that, so that a slow hash would add nothing.
    return hashlib.sha256(plain.encode()).hexdigest()
