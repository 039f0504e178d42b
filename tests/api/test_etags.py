"""What a client saw is what it changes, or the change is refused (RFC 9110 §13, RFC 6585 §3)."""

from typing import Any
from uuid import uuid4

import pytest

from accounts.roles import Role
from tests import builders
from tests.api.problems import MEDIA_TYPE
from tests.api.writing import read, sent
from tests.builders import Workshop
from tests.conftest import Api

CHANGES: dict[str, dict[str, Any]] = {
    "vehicles": {"make": "of another year"},
    "installations": {"mounting": "mid-shaft"},
    "meters": {"serial_number": "7"},
    "check-plans": {"lead_days": 10},
}


@pytest.fixture
def manager(workshop: Workshop) -> Api:
    """Return a manager's client."""
    return Api(workshop.organisation, Role.MANAGER)


@pytest.fixture
def paths(workshop: Workshop) -> dict[str, str]:
    """Return the address of one row of each kind that can be changed."""
    rows = {
        "vehicles": workshop.installation.vehicle,
        "installations": workshop.installation,
        "meters": workshop.ammeter,
        "check-plans": builders.check_plan(workshop.installation),
    }
    return {kind: f"{kind}/{row.uuid}/" for kind, row in rows.items()}


@pytest.mark.parametrize("kind", CHANGES)
def test_a_change_of_what_was_seen_is_made_once(kind: str, manager: Api, paths: dict[str, str]) -> None:
    path, change = paths[kind], CHANGES[kind]
    seen = read(manager, path)["ETag"]
    assert seen.startswith('"')
    assert not seen.startswith("W/")
    answer = sent(manager, "patch", path, change, if_match=seen)
    assert answer.status_code == 200, answer.content
    assert change.items() <= answer.json().items()
    after = read(manager, path)
    assert after["ETag"] == answer["ETag"] != seen
    assert after.content == answer.content
    again = sent(manager, "patch", path, change, if_match=seen)
    assert again.status_code == 412
    assert again["Content-Type"] == MEDIA_TYPE
    assert read(manager, path).content == after.content


@pytest.mark.parametrize("kind", CHANGES)
def test_a_change_that_does_not_say_what_it_changes_is_refused(kind: str, manager: Api, paths: dict[str, str]) -> None:
    before = read(manager, paths[kind]).content
    answer = sent(manager, "patch", paths[kind], CHANGES[kind])
    assert answer.status_code == 428
    assert "If-Match" in answer.json()["detail"]
    assert "no-store" in answer["Cache-Control"]
    assert read(manager, paths[kind]).content == before


@pytest.mark.parametrize("header", ['"0"', 'W/"0"', "0", ""])
def test_another_tag_is_refused(header: str, manager: Api, paths: dict[str, str]) -> None:
    assert sent(manager, "patch", paths["vehicles"], {"make": "x"}, if_match=header).status_code == 412


def test_a_weak_tag_is_refused_although_its_words_are_right(manager: Api, paths: dict[str, str]) -> None:
    seen = read(manager, paths["vehicles"])["ETag"]
    assert sent(manager, "patch", paths["vehicles"], {"make": "x"}, if_match=f"W/{seen}").status_code == 412


def test_a_star_changes_whatever_is_there_and_nothing_where_nothing_is(manager: Api, paths: dict[str, str]) -> None:
    assert sent(manager, "patch", paths["vehicles"], {"make": "x"}, if_match="*").status_code == 200
    nowhere = f"vehicles/{uuid4()}/"
    assert sent(manager, "patch", nowhere, {"make": "x"}, if_match="*").status_code == 412
    assert sent(manager, "patch", nowhere, {"make": "x"}, if_match='"0"').status_code == 404


def test_the_tag_changes_with_a_row_that_is_shown_inside(
    manager: Api, workshop: Workshop, paths: dict[str, str]
) -> None:
    seen = read(manager, paths["meters"])["ETag"]
    calibrated = {"performed_on": "2026-01-15", "due_on": "2027-01-15", "certificate": "C 1"}
    assert manager.post(f"{paths['meters']}calibrations/", calibrated).status_code == 200
    assert sent(manager, "patch", paths["meters"], {"serial_number": "8"}, if_match=seen).status_code == 412


def test_a_step_in_a_rows_life_may_say_what_it_saw(api: Api, workshop: Workshop) -> None:
    document = builders.inspection_document(workshop, sign=False)
    path = f"inspections/{document['id']}/"
    assert api.post("inspections/", document).status_code == 201
    assert sent(api, "post", f"{path}sign/", None, if_match='"0"').status_code == 412
    assert api.get(path).json()["signed_at"] is None
    assert sent(api, "post", f"{path}sign/", None, if_match=read(api, path)["ETag"]).status_code == 200


@pytest.mark.parametrize("path", ["vehicles/", "inspections/", "due/"])
def test_what_a_client_has_already_is_not_sent_again(path: str, api: Api) -> None:
    first = read(api, path)
    for known in (first["ETag"], f"W/{first['ETag']}", f'"0", {first["ETag"]}', "*"):
        answer = read(api, path, if_none_match=known)
        assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", first["ETag"]), known
    assert read(api, path, if_none_match='"0"').status_code == 200


def test_a_compressed_answer_has_a_strong_tag_that_a_change_may_name(manager: Api, paths: dict[str, str]) -> None:
    plain = read(manager, paths["vehicles"])
    packed = read(manager, paths["vehicles"], accept_encoding="gzip")
    assert packed["Content-Encoding"] == "gzip"
    assert packed["Vary"] == plain["Vary"]
    assert "Accept-Encoding" in packed["Vary"]
    assert packed["ETag"] != plain["ETag"]
    assert not packed["ETag"].startswith("W/")
    again = read(manager, paths["vehicles"], accept_encoding="gzip", if_none_match=packed["ETag"])
    assert (again.status_code, again["ETag"]) == (304, packed["ETag"])
    answer = sent(manager, "patch", paths["vehicles"], {"make": "x"}, if_match=packed["ETag"])
    assert answer.status_code == 200
    assert read(manager, paths["vehicles"], accept_encoding="gzip;q=0").get("Content-Encoding") is None


def test_one_state_is_always_the_same_compressed_bytes(manager: Api, paths: dict[str, str]) -> None:
    bodies = {read(manager, paths["vehicles"], accept_encoding="gzip").content for _ in range(3)}
    assert len(bodies) == 1
