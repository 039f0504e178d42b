"""How much the interface takes: requests a minute, bytes, depth, items, odd words in an address, slow statements."""

import socket
from functools import cache as once
from typing import Any

import pytest
from django.core.cache import cache
from django.db import OperationalError

from api import throttling
from tests.api.problems import assert_problem, fault_at
from tests.builders import Workshop
from tests.conftest import Api

LEAST_PER_MINUTE = 1_000


@pytest.fixture(autouse=True)
def _counts_from_zero() -> None:
    cache.clear()


def test_the_limits_as_delivered_leave_room(settings: Any) -> None:
    assert settings.REQUESTS_PER_MINUTE_PER_ADDRESS >= LEAST_PER_MINUTE
    assert settings.REQUESTS_PER_MINUTE_PER_TOKEN >= LEAST_PER_MINUTE


def test_a_token_has_so_many_requests_a_minute(api: Api, workshop: Workshop, settings: Any) -> None:
    settings.REQUESTS_PER_MINUTE_PER_TOKEN = 3
    answers = [api.get("due/").status_code for _ in range(8)]
    # A minute may end on the way, and then three more are free.
    assert answers.count(200) in range(3, 7)
    refused = _refused(api)
    assert_problem(refused, 429)
    assert 1 <= int(refused["Retry-After"]) <= 60
    assert refused["Cache-Control"] == "no-store"
    assert Api(workshop.organisation).get("due/").status_code == 200


@pytest.mark.parametrize("token", ["cbk_" + "0" * 64, "", "not even a token"])
def test_an_address_has_so_many_requests_a_minute_whatever_their_tokens(token: str, api: Api, settings: Any) -> None:
    settings.REQUESTS_PER_MINUTE_PER_ADDRESS = 3
    answers = [api.client.get("/api/v1/due/", headers={"authorization": f"Bearer {token}"}) for _ in range(8)]
    codes = [answer.status_code for answer in answers]
    assert set(codes) <= {400, 401, 429}
    # A minute may end on the way, and then three more are let through.
    assert codes.count(429) >= 2
    refused = _refused(api)
    assert_problem(refused, 429)
    assert 1 <= int(refused["Retry-After"]) <= 60
    elsewhere = api.client.get("/api/v1/due/", REMOTE_ADDR="192.0.2.7")
    assert elsewhere.status_code == 200


def _refused(api: Api) -> Any:
    """Return a refusal; should the minute end just now, the next one's share is used up first."""
    return next(answer for answer in (api.get("due/") for _ in range(8)) if answer.status_code == 429)


@pytest.mark.parametrize("answers", [False, True], ids=["nobody there", "nobody answers"])
def test_without_a_shared_cache_the_door_stays_open(
    answers: bool, api: Api, settings: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        if answers:
            bound.listen()
        settings.CACHE_URL = f"redis://127.0.0.1:{bound.getsockname()[1]}/0"
        # The connection of the other tests is kept for them.
        monkeypatch.setattr(throttling, "_shared_cache", once(throttling._shared_cache.__wrapped__))
        assert api.get("due/").status_code == 200
    assert "requests are not counted" in caplog.text


def test_a_body_that_is_too_large_is_refused_by_its_size(api: Api, settings: Any) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000
    assert_problem(api.post("inspections/", b'{"notes": "' + b"x" * 1_000 + b'"}'), 413)


def test_a_body_that_is_too_deep_is_refused(api: Api) -> None:
    assert fault_at(api.post("inspections/", b"[" * 100_000), "#")["code"] == "too_deep"


def test_a_batch_of_too_many_is_refused(api: Api) -> None:
    assert fault_at(api.post("inspections/bulk/", {"items": [{}] * 501}), "#/items")["code"] == "max_length"


def test_another_media_type_is_refused(api: Api) -> None:
    for media_type in ("text/plain", "multipart/form-data; boundary=x", "application/x-www-form-urlencoded"):
        assert_problem(api.client.post("/api/v1/inspections/", b"{}", content_type=media_type), 415)


@pytest.mark.parametrize(
    "query",
    [
        {"page_size": "501" * 40},
        {"page_size": "-1"},
        {"cursor": "x" * 3_000},
        {"cursor": "cD0lMDA="},
        {"changed_after": "9" * 3_000},
        {"installation": "\x00"},
        {"vehicle": "' OR 1=1 --"},
    ],
)
def test_an_odd_word_in_an_address_is_refused(query: dict[str, str], api: Api) -> None:
    assert_problem(api.get("inspections/", **query), 400)


def test_text_with_a_zero_byte_is_refused(api: Api) -> None:
    assert_problem(api.get("vehicles/", fleet_number="a\x00b"), 400)
    assert_problem(api.post("inspections/", b'{"notes": "a\\u0000b"}'), 400)


def test_thousands_of_words_in_an_address_are_refused(api: Api) -> None:
    assert_problem(api.client.get("/api/v1/due/?" + "&".join(f"a{number}=1" for number in range(1_500))), 400)


def test_a_statement_that_the_database_cut_short_is_no_fault_of_ours(api: Api, monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_short(*args: Any, **kwargs: Any) -> None:
        raise OperationalError("canceling statement due to statement timeout")

    monkeypatch.setattr("api.views.inspections.inspections_with_names", cut_short)
    answer = api.get("inspections/")
    assert_problem(answer, 503)
    assert int(answer["Retry-After"]) >= 1
