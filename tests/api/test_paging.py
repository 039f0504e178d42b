"""Lists page by key, forwards and backwards, and count only when asked."""

import re
from typing import Any

import pytest

from inspections.models import Meter
from tests.api.full_house import units_without_a_plan
from tests.api.problems import fault_at
from tests.builders import CLAMP, Workshop, inspection_document
from tests.conftest import Api

CAP = 10_000


def walked(api: Api, first: Any, direction: str = "next") -> list[list[dict[str, Any]]]:
    """Return the rows of each page, from a first answer on."""
    pages = [first.json()["results"]]
    link = first.json()[direction]
    while link:
        page = api.client.get(link).json()
        pages.append(page["results"])
        link = page[direction]
        assert len(pages) < 50
    return pages


def ids_of(pages: list[list[dict[str, Any]]]) -> list[str]:
    return [row["id"] for page in pages for row in page]


def meters(of: Workshop, number: int) -> None:
    """Make so many meters at once."""
    rows = (Meter(organisation=of.organisation, kind="ammeter", designation=f"Row {n}", **CLAMP) for n in range(number))
    Meter.objects.bulk_create(rows)


@pytest.fixture
def seven_inspections(api: Api, workshop: Workshop) -> list[str]:
    """Return the ids of seven inspections, newest first, three of them of the same instant."""
    hours = [3, 1, 5, 3, 2, 4, 3]
    for hour in hours:
        document = inspection_document(workshop, performed_at=f"2026-03-02T0{hour}:00:00Z")
        assert api.post("inspections/", document).status_code == 201
    rows = workshop.installation.inspections.order_by("-performed_at", "-pk")
    return [str(row.uuid) for row in rows]


def test_following_next_visits_each_row_once_and_in_order(api: Api, seven_inspections: list[str]) -> None:
    pages = walked(api, api.get("inspections/", page_size=3))
    assert [len(page) for page in pages] == [3, 3, 1]
    assert ids_of(pages) == seven_inspections


def test_following_previous_from_the_end_visits_each_row_once(api: Api, seven_inspections: list[str]) -> None:
    first = api.get("inspections/", page_size=3)
    assert first.json()["previous"] is None
    second = api.client.get(first.json()["next"])
    last = api.client.get(second.json()["next"])
    assert last.json()["next"] is None
    back = walked(api, last, "previous")
    assert ids_of(back[::-1]) == seven_inspections


def test_a_row_that_arrives_between_two_pages_repeats_none(
    api: Api, workshop: Workshop, seven_inspections: list[str]
) -> None:
    first = api.get("inspections/", page_size=3)
    late = inspection_document(workshop, performed_at="2026-03-02T08:00:00Z")
    assert api.post("inspections/", late).status_code == 201
    assert ids_of(walked(api, first)) == seven_inspections


def test_links_keep_the_filters_and_stand_in_the_link_header_too(api: Api, seven_inspections: list[str]) -> None:
    first = api.get("inspections/", page_size=3, verdict="pass")
    assert "verdict=pass" in first.json()["next"]
    assert "page_size=3" in first.json()["next"]
    second = api.client.get(first.json()["next"])
    links = dict(re.findall(r'<([^>]+)>; rel="(\w+)"', second.headers["link"]))
    assert {rel: url for url, rel in links.items()} == {
        "next": second.json()["next"],
        "prev": second.json()["previous"],
    }
    assert re.fullmatch(r'<[^>]+>; rel="next"', first.headers["link"])


def test_a_list_on_one_page_has_no_links(api: Api) -> None:
    answer = api.get("vehicles/")
    assert answer.json().keys() == {"results", "next", "previous"}
    assert (answer.json()["next"], answer.json()["previous"]) == (None, None)
    assert "link" not in answer.headers


def test_rows_are_counted_when_asked_and_within_the_filters(api: Api, workshop: Workshop) -> None:
    meters(workshop, 5)
    assert api.get("meters/", count="true", page_size=2).json()["count"] == 7
    assert api.get("meters/", count="true", kind="voltmeter").json()["count"] == 1
    assert "count" not in api.get("meters/", count="false").json()


@pytest.mark.parametrize("wanted", ["", "1", "TRUE", "\0"])
def test_a_count_is_asked_for_with_true_or_false(api: Api, wanted: str) -> None:
    fault_at(api.get("meters/", count=wanted), "#/count")


def test_a_count_stops_at_ten_thousand(api: Api, workshop: Workshop) -> None:
    meters(workshop, CAP)
    answer = api.get("meters/", count="true", page_size=1)
    assert answer.json()["count"] == CAP
    assert len(answer.json()["results"]) == 1


def test_a_page_holds_fifty_rows_and_at_most_five_hundred(api: Api, workshop: Workshop) -> None:
    meters(workshop, 600)
    assert len(api.get("meters/").json()["results"]) == 50
    assert len(api.get("meters/", page_size=10_000).json()["results"]) == 500


def test_more_rows_without_a_date_than_pages_can_skip_are_all_visited(api: Api, workshop: Workshop) -> None:
    number = 1_601
    units_without_a_plan(workshop, number)
    pages = walked(api, api.get("due/", page_size=500))
    assert len(set(ids_of(pages))) == len(ids_of(pages)) == number


@pytest.mark.parametrize(
    "cursor", ["x", "%00", "cD1hYmM=", "bz0tMQ==", "cD0yMDI2LTAxLTAx", "bz05OTk5OTk5OTk5OTk5OTk5OTk5OQ==", "é", "===="]
)
@pytest.mark.parametrize("name", ["vehicles", "inspections", "due"])
def test_a_cursor_that_was_not_made_here_is_refused_or_harmless(api: Api, name: str, cursor: str) -> None:
    answer = api.get(f"{name}/", cursor=cursor)
    if answer.status_code != 200:
        assert fault_at(answer, "#/cursor")["code"] == "invalid"


@pytest.mark.parametrize("name", ["vehicles", "inspections", "due", "meters"])
def test_a_cursor_of_nonsense_is_refused(api: Api, name: str) -> None:
    assert "next and previous" in fault_at(api.get(f"{name}/", cursor="nonsense"), "#/cursor")["detail"]
