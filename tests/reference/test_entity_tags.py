"""The published comparison of entity tags, RFC 9110 §8.8.3.2, table 3; and what stands on it."""

import pytest

from api.etags import compressed_tag, matches_strongly, matches_weakly

# ETag 1, ETag 2, strong comparison, weak comparison.
TABLE = [
    ('W/"1"', 'W/"1"', False, True),
    ('W/"1"', 'W/"2"', False, False),
    ('W/"1"', '"1"', False, True),
    ('"1"', '"1"', True, True),
]


@pytest.mark.parametrize(("one", "other", "strong", "weak"), TABLE)
def test_the_published_table(one: str, other: str, strong: bool, weak: bool) -> None:
    for sent, stored in ((one, other), (other, one)):
        assert matches_strongly(sent, stored) is strong
        assert matches_weakly(sent, stored) is weak


def test_a_list_names_each_of_its_tags_and_a_star_names_all() -> None:
    assert matches_strongly('"0", "1" ,"2"', '"1"')
    assert matches_weakly('"0", W/"1"', '"1"')
    assert matches_strongly("*", '"1"')
    assert matches_weakly("*", '"1"')
    assert not matches_strongly('"0", "2"', '"1"')


@pytest.mark.parametrize("header", ["", "1", '"1', "W/1", '"*"', "null"])
def test_what_is_no_tag_names_nothing(header: str) -> None:
    assert not matches_strongly(header, '"1"')
    assert not matches_weakly(header, '"1"')


def test_the_tag_of_the_compressed_bytes_names_the_same_state() -> None:
    # RFC 9110 §8.8.3.3: other bytes, another tag.
    assert compressed_tag('"1"') != '"1"'
    assert matches_strongly(compressed_tag('"1"'), '"1"')
    assert not matches_strongly(compressed_tag('"2"'), '"1"')
    assert not matches_strongly(f"W/{compressed_tag(chr(34) + '1' + chr(34))}", '"1"')
