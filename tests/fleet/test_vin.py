"""Vehicle identification numbers against published and worked vectors."""

import pytest

from fleet.vin import check_digit, check_digit_state, normalised_vin, vin_fault

# P: published (the first as the example of 49 CFR 565.15, the second as the usual trial number).
# C: worked out from 49 CFR 565.15(c), Tables III and IV, weight by weight.
CHECK_DIGITS = [
    ("1M8GDM9AXKP042788", 351, "X", "valid", None, "P"),
    ("11111111111111111", 89, "1", "valid", None, "P"),
    ("1M8GDM9A1KP042788", 351, "X", "invalid", "check_digit", "C"),
    ("1M8GDM9AXKP042878", 352, "0", "invalid", "check_digit", "C"),
    ("1M8GDM9AXKP042789", 353, "1", "invalid", "check_digit", "C"),
    ("XX9ABCDEZGH012345", 416, "9", "not_applicable", None, "C"),
    ("AM8GDM9AXKP042788", 351, "X", "not_applicable", None, "C"),
    ("JM8GDM9AXKP042788", 351, "X", "not_applicable", None, "C"),
    ("1M8GMD9AXKP042788", 351, "X", "valid", None, "C"),
]


@pytest.mark.parametrize(("vin", "total", "digit", "state", "fault", "origin"), CHECK_DIGITS)
def test_check_digits(vin: str, total: int, digit: str, state: str, fault: str | None, origin: str) -> None:
    assert check_digit(vin) == digit == "0123456789X"[total % 11]
    assert check_digit_state(vin) == state
    assert vin_fault(vin) == fault


@pytest.mark.parametrize("first", "ABCDEFGHJKLMNPRSTUVWXYZ0123456789")
def test_the_check_digit_is_asked_for_only_in_north_america(first: str) -> None:
    vin = first + "M8GDM9AZKP042788"
    assert check_digit(vin) != "Z"
    assert check_digit_state(vin) == ("invalid" if first in "12345" else "not_applicable")


@pytest.mark.parametrize("letter", "IOQ")
@pytest.mark.parametrize("position", [0, 8, 11, 16])
def test_i_o_and_q_are_refused_in_any_position(letter: str, position: int) -> None:
    """ISO 3779: the letters I, O and Q are not used."""
    vin = "XX9ABCDEZGH012345"
    assert vin_fault(vin[:position] + letter + vin[position + 1 :]) == "forbidden_letter"


@pytest.mark.parametrize("vin", ["", "1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "4471"])
def test_a_shorter_or_longer_serial_is_no_vin(vin: str) -> None:
    assert vin_fault(vin) == "length"


@pytest.mark.parametrize("vin", ["XX9ABCDEZGH01234Ä", "XX9ABCDEZGH01234٣", "XX9ABCDEZGH01234.", "xX9ABCDEZGH012345"])
def test_other_characters_are_refused(vin: str) -> None:
    assert vin_fault(vin) == "forbidden_character"


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        (" 1m8gdm9axkp042788\t", "1M8GDM9AXKP042788"),
        ("1M8-GDM9AX-KP042788", "1M8GDM9AXKP042788"),
        ("1M8 GDM9AX KP 042788", "1M8GDM9AXKP042788"),
        ("1m8gdm9axkpo42788", "1M8GDM9AXKPO42788"),
    ],
)
def test_a_number_is_normalised_and_an_o_stays_an_o(typed: str, kept: str) -> None:
    assert normalised_vin(typed) == kept
