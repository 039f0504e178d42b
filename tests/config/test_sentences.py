"""Every code that a judgement can hold has a sentence, marked so that it can be said in the reader's language."""

import re

import pytest
from django.utils.functional import Promise

from calc import budget
from inspections.sentences import SENTENCES, SOURCES
from tests.config.codes import judgement_codes

CODES = judgement_codes()


def test_the_codes_are_found_however_they_are_made() -> None:
    literal, from_a_table, from_a_verdict, remedy = "output_mismatch", "rest_current", "outside_limits", "no_action"
    assert {literal, from_a_table, from_a_verdict, remedy, "reference_voltage_unknown", "stage_not_read"} <= CODES


@pytest.mark.parametrize("code", sorted(CODES))
def test_every_code_has_a_sentence(code: str) -> None:
    assert code in SENTENCES


def test_no_sentence_is_for_nothing() -> None:
    assert set(SENTENCES) - CODES == set()


def test_every_source_of_uncertainty_has_a_name() -> None:
    assert set(SOURCES) == set(budget.SOURCES)


@pytest.mark.parametrize("marked", [*SENTENCES.values(), *SOURCES.values()])
def test_every_sentence_is_marked_for_translation(marked: object) -> None:
    assert isinstance(marked, Promise)


@pytest.mark.parametrize("sentence", SENTENCES.values())
def test_the_numbers_of_a_sentence_have_names_so_that_a_translation_may_move_them(sentence: object) -> None:
    assert "%" not in re.sub(r"%\(\w+\)s|%%", "", str(sentence))
