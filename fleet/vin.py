"""Vehicle identification numbers: the characters of ISO 3779, and the check digit where it applies.

References
----------
ISO 3779 (17 characters, never I, O or Q).  49 CFR 565.15(c) (check digit in position 9).  European numbers need no
check digit (Regulation (EU) 2021/535), so it is tested only where the first character says North America (1 to 5).
"""

import re
from typing import Literal

LENGTH = 17
CHARACTERS = re.compile(r"[A-HJ-NPR-Z0-9]{17}")
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
VALUES = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9), strict=True)
)

CheckDigit = Literal["valid", "invalid", "not_applicable"]


def normalised_vin(text: str) -> str:
    """Return the number in capitals without spaces and hyphens; an O stays an O.

    >>> normalised_vin(" xx9abcdez-gh012345 ")
    'XX9ABCDEZGH012345'
    """
    return re.sub(r"[\s-]", "", text).upper()


def vin_fault(vin: str) -> str | None:
    """Return what is wrong with a normalised number, or None.

    >>> vin_fault("1M8GDM9AXKPO42788")
    'forbidden_letter'
    """
    if len(vin) != LENGTH:
        return "length"
    if set(vin) & set("IOQ"):
        return "forbidden_letter"
    if not CHARACTERS.fullmatch(vin):
        return "forbidden_character"
    return "check_digit" if check_digit_state(vin) == "invalid" else None


def check_digit_state(vin: str) -> CheckDigit:
    """Return whether position 9 holds the right check digit, where the number has one.

    >>> check_digit_state("1M8GDM9AXKP042788")
    'valid'
    """
    if vin[0] not in "12345":
        return "not_applicable"
    return "valid" if vin[8] == check_digit(vin) else "invalid"


def check_digit(vin: str) -> str:
    """Return the check digit of a number of 17 allowed characters (49 CFR 565.15(c))."""
    total = sum(
        weight * (VALUES.get(character) or int(character)) for weight, character in zip(WEIGHTS, vin, strict=True)
    )
    return "0123456789X"[total % 11]
