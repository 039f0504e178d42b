"""A trend and a due date worked out without storing: the golden series, and whichever limb comes first."""

import datetime as dt
from typing import Any

import pytest

from inspections.models import Trend
from schedules.models import DueDate
from tests.conftest import Api

RATING = {"stages": 4, "rated_current_a": 35.0, "tolerance_percent": 10.0}
PLAN = {"months": 6, "km": 30_000, "hours": 500}
# Made here: last check 2025-01-31 at 100,000 km and 4,000 h, as the whichever-first vectors of calc have it.
CHECK = [{"kind": "check", "on": "2025-01-31"}]


def series(loses_percent: float, checks: int = 10) -> list[dict[str, Any]]:
    first = dt.datetime(2024, 1, 1, tzinfo=dt.UTC)
    return [
        {
            "performed_at": (first + number * dt.timedelta(days=91)).isoformat(),
            "levels_percent": [100.0, 99.5, 100.2 - loses_percent * max(0, number - 3), 100.4],
            "expanded_uncertainties_percent": [2.0, 2.0, 2.0, 2.0],
        }
        for number in range(checks)
    ]


def test_a_series_that_falls_is_declining_in_its_stage(api: Api) -> None:
    answer = api.post("trends/preview/", {"rating": RATING, "inspections": series(2.0)})
    assert answer.status_code == 200, answer.content
    told = answer.json()
    assert told["attribution"] == "stage"
    assert [stage["declining"] for stage in told["stages"]] == [False, False, True, False]
    assert len(told["stages"][2]["points"]) == 10
    assert not Trend.objects.exists()


def test_the_order_sent_is_no_matter(api: Api) -> None:
    sent = {"rating": RATING, "inspections": series(2.0)}
    turned = {"rating": RATING, "inspections": series(2.0)[::-1]}
    assert api.post("trends/preview/", sent).json() == api.post("trends/preview/", turned).json()


@pytest.mark.parametrize("checks", [0, 1, 3])
def test_a_short_series_says_nothing_yet(api: Api, checks: int) -> None:
    told = api.post("trends/preview/", {"rating": RATING, "inspections": series(2.0, checks)}).json()
    assert told["attribution"] is None
    assert [stage["declining"] for stage in told["stages"]] == [False] * 4


def test_levels_for_another_number_of_stages_are_refused_at_their_place(api: Api) -> None:
    bad = series(0.0)
    bad[1]["levels_percent"] = [100.0]
    refused = api.post("trends/preview/", {"rating": RATING, "inspections": bad})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "#/inspections/1/levels_percent"


@pytest.mark.parametrize(
    ("as_of", "usage", "state", "limb"),
    [
        ("2025-06-01T09:00:00Z", [(129_999, "km")], "in_notice", "km"),
        ("2025-06-01T09:00:00Z", [(130_000, "km")], "due", "km"),
        ("2025-06-01T09:00:00Z", [(4_500.0, "hours")], "due", "hours"),
        ("2025-07-31T09:00:00Z", [], "due", "months"),
        ("2025-08-01T09:00:00Z", [], "overdue", "months"),
    ],
)
def test_whichever_limb_comes_first_makes_it_due(
    api: Api, as_of: str, usage: list[tuple[float, str]], state: str, limb: str
) -> None:
    readings = [
        {"limb": "km", "on": "2025-01-31", "value": 100_000},
        {"limb": "hours", "on": "2025-01-31", "value": 4_000},
    ]
    readings += [{"limb": limb_read, "on": "2025-06-01", "value": value} for value, limb_read in usage]
    document = {"plan": PLAN, "events": CHECK, "usage": readings, "as_of": as_of}
    answer = api.post("due-dates/preview/", document)
    assert answer.status_code == 200, answer.content
    assert (answer.json()["state"], answer.json()["limb"]) == (state, limb)
    assert not DueDate.objects.exists()


@pytest.mark.parametrize(("time_zone", "state"), [("America/Los_Angeles", "in_notice"), ("Europe/London", "due")])
def test_the_local_date_decides(api: Api, time_zone: str, state: str) -> None:
    document = {"plan": {"months": 6}, "events": CHECK, "as_of": "2025-07-31T02:00:00Z", "time_zone": time_zone}
    assert api.post("due-dates/preview/", document).json()["state"] == state


def test_a_failed_check_counts_for_nothing(api: Api) -> None:
    events = [*CHECK, {"kind": "check", "on": "2025-06-01", "verdict": "fail"}]
    document = {"plan": {"months": 6}, "events": events, "as_of": "2025-07-31T09:00:00Z"}
    assert api.post("due-dates/preview/", document).json()["due_on"] == "2025-07-31"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"plan": {}}, "#/plan/months"),
        ({"plan": {"km": 1_000, "anchor_on": "2025-01-31"}}, "#/plan/anchor_on"),
        ({"as_of": "2025-07-31"}, "#/as_of"),
        ({"events": [{"kind": "check", "on": "2025-07-31T09:00:00Z"}]}, "#/events/0/on"),
        ({"time_zone": "Europe/Nowhere"}, "#/time_zone"),
    ],
)
def test_what_makes_no_sense_is_refused_at_its_place(api: Api, changes: dict[str, Any], pointer: str) -> None:
    refused = api.post("due-dates/preview/", {"plan": PLAN, "events": CHECK, "as_of": "2025-07-31T09:00:00Z"} | changes)
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == pointer
