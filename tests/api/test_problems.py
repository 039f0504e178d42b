"""Everything that is not a success is a problem document, wherever it arises."""

from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from tests.api.faulty_urls import SECRET
from tests.api.problems import assert_problem
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

UNKNOWN = ["/api/v1/nothing/", "/api/v1/vehicles", "/api/v2/vehicles/", "/api/", "/nothing", "/api/v1/%00/", "/ä/"]
BROWSER = "text/html,application/xhtml+xml,*/*;q=0.8"
ODD_IDS = ["x", "1", "%00", "..%2f", "123e4567e89b12d3a456426614174000", "00000000-0000-0000-0000-00000000000g"]


def assert_page(answer: Any, status: int) -> None:
    """Fail unless the answer is a page that leads on."""
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/html")
    assert '<a href="/">' in answer.content.decode()


@pytest.mark.parametrize("address", UNKNOWN)
def test_an_unknown_address_is_a_problem_with_and_without_a_token(api: Api, address: str) -> None:
    for client in (api.client, Client(raise_request_exception=False)):
        assert_problem(client.get(address), 404)
        assert_problem(client.post(address, b"{", content_type="application/json"), 404)


@pytest.mark.parametrize("address", UNKNOWN)
def test_a_browser_gets_a_page_outside_the_api_and_a_problem_inside(api: Api, address: str) -> None:
    answer = Client(raise_request_exception=False).get(address, headers={"accept": BROWSER})
    if address.startswith("/api/"):
        assert_problem(answer, 404)
    else:
        assert_page(answer, 404)


@pytest.mark.parametrize("identity", ODD_IDS)
def test_an_id_that_is_no_uuid_is_an_unknown_address(api: Api, identity: str) -> None:
    assert_problem(api.get(f"vehicles/{identity}/"), 404)


def test_an_id_that_is_not_on_file_is_not_found(api: Api) -> None:
    for kind in ("vehicles", "installations", "inspections", "meters", "due", "defects", "declines", "reminders"):
        assert_problem(api.get(f"{kind}/{uuid4()}/"), 404)


def test_an_id_may_be_written_in_capital_letters(api: Api, workshop: Workshop) -> None:
    identity = str(workshop.installation.uuid)
    assert api.get(f"installations/{identity.upper()}/").json() == api.get(f"installations/{identity}/").json()
    document = inspection_document(workshop)
    shouted = {**document, "id": document["id"].upper(), "installation": identity.upper()}
    assert api.post("inspections/", shouted).json()["id"] == document["id"]


AN_ID = "0192f0c1-4f5e-7c3a-9d2b-6a1e5f7c8d90"


@pytest.mark.parametrize(
    ("method", "address", "allowed"),
    [
        ("delete", "vehicles/", "GET"),
        ("post", "due/", "GET"),
        ("put", "inspections/", "GET, POST"),
        ("get", "assessments/", "POST"),
        ("get", "inspections/bulk/", "POST"),
        ("delete", f"inspections/{AN_ID}/", "GET"),
        ("patch", f"inspections/{AN_ID}/", "GET"),
        ("get", f"inspections/{AN_ID}/sign/", "POST"),
    ],
)
def test_a_method_that_an_address_does_not_know_is_a_problem(api: Api, method: str, address: str, allowed: str) -> None:
    answer = getattr(api.client, method)(f"/api/v1/{address}", content_type="application/json")
    assert method.upper() in assert_problem(answer, 405)["detail"]
    assert set(allowed.split(", ")) <= set(answer.headers["allow"].split(", "))


@pytest.mark.urls("tests.api.faulty_urls")
@pytest.mark.parametrize("address", ["/api/v1/faulty/", "/faulty/"])
def test_a_fault_of_ours_is_a_problem_that_tells_nothing(api: Api, address: str) -> None:
    answer = api.client.get(address)
    assert_problem(answer, 500)
    for secret in (SECRET, "Traceback", "RuntimeError", "faulty_urls"):
        assert secret not in answer.content.decode()


@pytest.mark.urls("tests.api.faulty_urls")
def test_a_fault_of_ours_is_a_page_to_a_browser_and_tells_nothing(api: Api) -> None:
    answer = api.client.get("/faulty/", headers={"accept": BROWSER})
    assert_page(answer, 500)
    assert SECRET not in answer.content.decode()
    assert_problem(api.client.get("/api/v1/faulty/", headers={"accept": BROWSER}), 500)


def test_a_host_that_is_not_ours_is_a_page_to_a_browser(api: Api) -> None:
    assert_page(api.client.get("/sign-in/", headers={"host": "elsewhere.example", "accept": BROWSER}), 400)


def test_a_host_that_is_not_ours_is_a_problem(api: Api) -> None:
    assert_problem(api.client.get("/api/v1/vehicles/", headers={"host": "elsewhere.example"}), 400)


@pytest.mark.parametrize("accepted", ["text/html", "application/xml", "nonsense", "application/problem+json"])
def test_json_is_answered_whatever_form_is_asked_for(api: Api, accepted: str) -> None:
    answer = api.client.get("/api/v1/vehicles/", headers={"accept": accepted})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    assert_problem(api.client.get(f"/api/v1/vehicles/{uuid4()}/", headers={"accept": accepted}), 404)


@pytest.mark.parametrize("address", ["vehicles/", "inspections/", "assessments/", "inspections/bulk/", "due/"])
def test_what_an_address_allows_can_be_asked(api: Api, address: str) -> None:
    assert api.client.options(f"/api/v1/{address}").status_code == 200
