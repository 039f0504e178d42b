"""Published one-time codes, against the library that makes and checks ours.

Sources: RFC 4226 (HOTP), appendix D; RFC 6238 (TOTP), appendix B, rows of SHA-1.  The key of both is the ASCII text
"12345678901234567890".
"""

import pytest
from django_otp.oath import TOTP, hotp

from accounts.services.two_step import DIGITS, STEP_SECONDS

KEY = b"12345678901234567890"
COUNTED = [755224, 287082, 359152, 969429, 338314, 254676, 287922, 162583, 399871, 520489]
TIMED = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}


@pytest.mark.parametrize(("counter", "code"), enumerate(COUNTED))
def test_a_counted_code(counter: int, code: int) -> None:
    assert hotp(KEY, counter) == code


@pytest.mark.parametrize(("seconds", "code"), TIMED.items())
def test_a_timed_code_of_eight_digits_and_of_our_six(seconds: int, code: str) -> None:
    for digits in (8, DIGITS):
        totp = TOTP(KEY, STEP_SECONDS, 0, digits)
        totp.time = seconds
        assert f"{totp.token():0{digits}d}" == code[-digits:]
        assert totp.verify(int(code[-digits:]))
        assert not totp.verify(int(code[-digits:]), min_t=totp.t() + 1)
