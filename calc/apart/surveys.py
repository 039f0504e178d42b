"""The control check and the mechanical survey, item by item."""

from collections.abc import Mapping

from calc.errors import RELATIVE_SLACK
from calc.evidence_apart import ApartEvidence, Checked, SurveyItem
from calc.judgement import Finding

_BAD: Checked = "bad"
Part = tuple[Checked, tuple[Finding, ...]]


def control_check(given: ApartEvidence) -> Part:
    """Return bad for any bad item, good where every item of the organisation's list is good, else not checked.

    Examples
    --------
    >>> control_check(ApartEvidence(control_check={"cut_out": "bad"}))[0]
    'bad'
    """
    states = given.control_check or {}
    bad = [code for code, state in states.items() if state == "bad"]
    found = [Finding("control_item_bad", "defect", None, _named(given, code)) for code in bad]
    return _worst(states, given.control_items), tuple(found)


def mechanical_survey(given: ApartEvidence) -> Part:
    """Return the state of the survey; an item with numbers and a limit is judged by its numbers.

    Examples
    --------
    >>> gap = SurveyItem("air_gap", values=(1.2, 1.3, 1.2, 1.9), lower_limit=1.0, upper_limit=1.6)
    >>> mechanical_survey(ApartEvidence(mechanical_survey=(gap,)))[0]
    'bad'
    """
    bad = [item for item in given.mechanical_survey if item_state(item) == "bad"]
    states = {item.code: item_state(item) for item in given.mechanical_survey} | {item.code: _BAD for item in bad}
    return _worst(states, given.mechanical_items), tuple(_item_finding(given, item) for item in bad)


def item_state(item: SurveyItem) -> Checked:
    """Return how an item stands; a number outside a limit is bad however the item was marked.

    Examples
    --------
    >>> item_state(SurveyItem("rotor", "good", values=(0.1,), upper_limit=0.3))
    'good'
    """
    if not item.values or (item.lower_limit is None and item.upper_limit is None):
        return item.status
    if not all(_within(value, item) for value in item.values):
        return "bad"
    return "bad" if item.status == "bad" else "good"


def _within(value: float, item: SurveyItem) -> bool:
    low, high = item.lower_limit, item.upper_limit
    slack = RELATIVE_SLACK * abs(value)
    return (low is None or value >= low - slack) and (high is None or value <= high + slack)


def _named(given: ApartEvidence, code: str) -> dict[str, float | str]:
    words = (given.item_words or {}).get(code)
    return {"item": code} if words is None else {"item": code, "item_words": words}


def _item_finding(given: ApartEvidence, item: SurveyItem) -> Finding:
    outside = [value for value in item.values if not _within(value, item)]
    params = _named(given, item.code)
    if not outside:
        return Finding("survey_item_bad", "defect", None, params)
    limits = {"lower_limit": item.lower_limit, "upper_limit": item.upper_limit}
    worst = max(outside, key=lambda value: _distance(value, item))
    stated = {name: limit for name, limit in limits.items() if limit is not None}
    return Finding("survey_number_outside", "defect", None, {**params, "value": worst, **stated})


def _distance(value: float, item: SurveyItem) -> float:
    below = 0.0 if item.lower_limit is None else item.lower_limit - value
    above = 0.0 if item.upper_limit is None else value - item.upper_limit
    return max(below, above)


def _worst(states: Mapping[str, Checked], wanted: tuple[str, ...]) -> Checked:
    if "bad" in states.values():
        return "bad"
    return "good" if wanted and all(states.get(code) == "good" for code in wanted) else "not_checked"
