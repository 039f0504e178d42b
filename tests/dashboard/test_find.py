"""One box finds a vehicle by anything that is written on it or on its unit."""

from typing import Any

import pytest
from django.test import Client

from fleet.models import Vehicle
from tests import builders

VIN = "XX9ABCDEZGH012345"


@pytest.fixture
def vehicle(db: None) -> Vehicle:
    owner = builders.organisation()
    made = builders.vehicle(owner, fleet_number="Coach 7", registration="AB-12 CDE", vin=VIN)
    unit = builders.installation(owner, vehicle=made)
    unit.retarder.serial_number = "30 4-11"
    unit.retarder.save()
    builders.vehicle(owner, fleet_number="Coach 71", registration="ZZ 99")
    builders.vehicle(builders.organisation(), fleet_number="Coach 7", registration="AB-12 CDE", vin=VIN)
    return made


def found(vehicle: Vehicle, text: str) -> Any:
    client = Client()
    client.force_login(builders.member(vehicle.organisation).user)
    return client.get(f"/{vehicle.organisation.slug}/find/", {"q": text})


@pytest.mark.parametrize(
    "text",
    ["Coach 7", "coach7", " COACH-7 ", "ab12cde", "AB 12", VIN, VIN.lower(), "xx9 abcde zgh 012345", "30411", "304-1"],
)
def test_what_is_written_on_it_opens_the_vehicle(vehicle: Vehicle, text: str) -> None:
    answer = found(vehicle, text)
    assert answer.status_code == 302
    assert answer["Location"] == f"/{vehicle.organisation.slug}/vehicles/{vehicle.uuid}/"


def test_what_fits_several_offers_a_short_list(vehicle: Vehicle) -> None:
    answer = found(vehicle, "coach")
    assert [row.fleet_number for row, _states in answer.context["rows"]] == ["Coach 7", "Coach 71"]


@pytest.mark.parametrize("text", ["bus 9", "   ", "-", ""])
def test_what_fits_nothing_lists_nothing(vehicle: Vehicle, text: str) -> None:
    answer = found(vehicle, text)
    assert answer.status_code == 200
    assert answer.context["rows"] == []


def test_what_fits_nothing_says_what_to_try(vehicle: Vehicle) -> None:
    assert "capitals, spaces and hyphens do not matter" in found(vehicle, "bus 9").content.decode()


def test_a_letter_that_only_looks_like_markup_stays_a_letter(vehicle: Vehicle) -> None:
    assert "<b>bus" not in found(vehicle, "<b>bus").content.decode()
