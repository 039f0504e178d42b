"""The other half of the second step: what the person's device shows."""

import time

from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from accounts.models import User
from accounts.services.two_step import DIGITS, STEP_SECONDS, new_key, set_up_two_step


def shown_by(key: str, steps_ahead: int = 0) -> str:
    """Return the code of a key at this moment, or some steps later."""
    totp = TOTP(bytes.fromhex(key), STEP_SECONDS, 0, DIGITS)
    totp.time = time.time() + steps_ahead * STEP_SECONDS
    return f"{totp.token():0{DIGITS}d}"


def with_second_step(user: User) -> list[str]:
    """Set the second step up for a person and return the codes to fall back on."""
    key = new_key()
    return set_up_two_step(user, key=key, code=shown_by(key), address="", keep_session=None)


def next_code_of(user: User) -> str:
    """Return a code that the person's device shows and that was not used yet."""
    return shown_by(TOTPDevice.objects.get(user=user).key, steps_ahead=1)
