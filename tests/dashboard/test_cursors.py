"""Pages by key name every row once, in both directions, whatever comes or goes between."""

import pytest
from django.http import Http404

from dashboard.cursors import keyset_page
from fleet.models import Vehicle
from tests import builders

ORDERS = [("fleet_number", "pk"), ("-system_voltage_v", "fleet_number", "pk"), ("-depot__name", "-pk")]


@pytest.fixture
def owner(db: None) -> object:
    owner = builders.organisation()
    depots = [builders.depot(owner) for _ in range(3)]
    for number in range(23):
        builders.vehicle(owner, depot=depots[number % 3], system_voltage_v=(12, 24)[number % 2])
    return owner


def walked(owner: object, order: tuple[str, ...], size: int = 5) -> list[list[int]]:
    pages, place = [], None
    while True:
        page = keyset_page(Vehicle.objects.of(owner), order, after=place, before=None, size=size)
        pages.append([row.pk for row in page.rows])
        if (place := page.after) is None:
            return pages


@pytest.mark.parametrize("order", ORDERS)
def test_a_walk_forwards_names_every_row_once_and_in_order(owner: object, order: tuple[str, ...]) -> None:
    pages = walked(owner, order)
    assert [len(page) for page in pages] == [5, 5, 5, 5, 3]
    expected = list(Vehicle.objects.of(owner).order_by(*order).values_list("pk", flat=True))
    assert [pk for page in pages for pk in page] == expected


@pytest.mark.parametrize("order", ORDERS)
def test_a_walk_back_meets_the_same_pages(owner: object, order: tuple[str, ...]) -> None:
    rows = Vehicle.objects.of(owner)
    first = keyset_page(rows, order, after=None, before=None, size=5)
    second = keyset_page(rows, order, after=first.after, before=None, size=5)
    third = keyset_page(rows, order, after=second.after, before=None, size=5)
    back = keyset_page(rows, order, after=None, before=third.before, size=5)
    assert back.rows == second.rows
    assert keyset_page(rows, order, after=None, before=back.before, size=5).rows == first.rows
    assert first.before is None
    assert keyset_page(rows, order, after=None, before=back.before, size=5).before is None


def test_a_row_that_comes_in_between_moves_nothing(owner: object) -> None:
    order = ("fleet_number", "pk")
    first = keyset_page(Vehicle.objects.of(owner), order, after=None, before=None, size=5)
    expected = keyset_page(Vehicle.objects.of(owner), order, after=first.after, before=None, size=5).rows
    builders.vehicle(owner, fleet_number="A first of all")  # type: ignore[arg-type]
    assert keyset_page(Vehicle.objects.of(owner), order, after=first.after, before=None, size=5).rows == expected


@pytest.mark.parametrize("place", ["", "x", "WzFd", "e30", "W251bGwsIG51bGxd", "é"])
def test_a_place_that_is_none_of_this_list_is_not_found_or_left_out(owner: object, place: str) -> None:
    if not place:
        assert len(keyset_page(Vehicle.objects.of(owner), ORDERS[0], after=place, before=None).rows) == 23
        return
    with pytest.raises(Http404):
        keyset_page(Vehicle.objects.of(owner), ORDERS[0], after=place, before=None)
