"""Equal content has equal bytes, on either engine and however a value was set."""

import json
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from accounts.canonical import canonical, digest, plain

WHOLE_NUMBERS = st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1)
# Surrogates are no text, and canonical JSON has none.
TEXTS = st.text(st.characters(exclude_categories=["Cs"]))
DOCUMENTS = st.recursive(
    st.none() | st.booleans() | WHOLE_NUMBERS | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=20,
)


@settings(deadline=None)
@given(DOCUMENTS)
def test_the_fast_encoder_writes_what_the_reference_encoder_does(document: Any) -> None:
    assert canonical(document) == rfc8785.dumps(document)


def test_keys_beyond_the_basic_plane_are_sorted_by_utf_16_units() -> None:
    """RFC 8785 3.2.3: U+1F600 sorts before U+FB33, which the order of code points would not have it do."""
    assert canonical({"\ufb33": 1, "\U0001f600": 2}) == '{"\U0001f600":2,"\ufb33":1}'.encode()


def as_jsonb_gives_it_back(document: Any) -> Any:
    """Return a document as PostgreSQL's jsonb gives it back: no negative zero, large numbers without exponent."""

    def number(digits: str) -> float | int:
        value = float(digits)
        if value == 0:
            return 0.0
        return int(value) if abs(value) >= 1e16 else value

    return json.loads(json.dumps(document), parse_float=number)


@settings(deadline=None)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False)))
def test_a_float_hashes_the_same_after_it_was_stored(values: list[float]) -> None:
    assert digest(plain(values)) == digest(plain(as_jsonb_gives_it_back(values)))


@pytest.mark.parametrize(
    ("value", "told"), [(-0.0, "0.0"), (1e16, "1e+16"), (10**16, "1e+16"), (35.0, "35.0"), (2**53 - 1, 2**53 - 1)]
)
def test_numbers_have_one_form(value: float, told: object) -> None:
    assert plain(value) == told


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_is_no_number_is_not_stored(value: float) -> None:
    for document in (value, {"levels": [99.5, value]}):
        with pytest.raises(ValueError, match="no number"):
            plain(document)
