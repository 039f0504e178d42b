"""The sample of an assessment that clients are given, run to the digits shown."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.conftest import Api

SAMPLE = json.loads((Path(__file__).parent / "assessment_sample.json").read_text("utf-8"), parse_float=Decimal)
REQUEST = json.dumps(SAMPLE["request"], default=float).encode()
ABRIDGED = "…"


def assert_as_shown(shown: Any, answered: Any, place: str) -> None:
    """Compare an answer with what is shown of it: numbers to the digits shown, lists by their beginning."""
    if shown == ABRIDGED:
        assert answered, place
    elif isinstance(shown, dict):
        for key in shown:
            assert_as_shown(shown[key], answered[key], f"{place}/{key}")
    elif isinstance(shown, list):
        assert len(answered) >= len(shown), place
        for index, item in enumerate(shown):
            assert_as_shown(item, answered[index], f"{place}/{index}")
    elif isinstance(shown, Decimal):
        digits = -int(shown.as_tuple().exponent)
        assert round(Decimal(answered), digits) == shown, place
    else:
        assert (answered, type(answered)) == (shown, type(shown)), place


def test_the_sample_is_answered_as_shown(api: Api) -> None:
    answer = api.post("assessments/", REQUEST)
    assert answer.status_code == 200, answer.content
    answered = json.loads(answer.content, parse_float=Decimal)
    assert_as_shown(SAMPLE["answer"], answered, "#")
    for name in ("verdict_reasons", "stages", "findings"):
        assert len(answered[name]) == len(SAMPLE["answer"][name])


def test_the_shares_of_the_budget_come_largest_first_and_make_one(api: Api) -> None:
    answer = api.post("assessments/", REQUEST).json()
    shares = [line["variance_share"] for line in answer["stages"][0]["budget"]]
    assert shares == sorted(shares, reverse=True)
    assert abs(sum(shares) - 1) < 1e-9


def test_causes_are_named_most_probable_first_and_make_one(api: Api) -> None:
    answer = api.post("assessments/", REQUEST).json()
    probabilities = [hypothesis["probability"] for hypothesis in answer["hypotheses"]]
    assert probabilities == sorted(probabilities, reverse=True)
    assert abs(sum(probabilities) - 1) < 1e-9
    assert answer["hypotheses"][0].keys() >= {"cause", "stage", "probability", "group", "remedy"}
