"""What a token may: all that the role may, or reading alone, at every address; and what is no token of ours."""

import base64
import hashlib
import hmac

import pytest
from django.test import Client, override_settings
from django.utils import timezone

from accounts.models import READ_ONLY, ApiToken
from accounts.roles import Role
from inspections.models import Defect
from tests.accounts.tenant_tables import fill_every_table
from tests.api.full_house import furnish
from tests.api.problems import assert_problem
from tests.api.routes import api_routes
from tests.api.sealed_bodies import body_for
from tests.api.test_sealed import WRITES, send
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

# They judge and store nothing.
READING = {"assessments/", "assessments/preview/", "trends/preview/", "due-dates/preview/"}
# RFC 7515, appendix A.1, and RFC 7519, section 3.1: the signature is right, and the token expired in March 2011.
SIGNED = (
    "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9."
    "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ"
)
KEY = "AyM1SysPpbyDfgZld3umj1qzKObwVMkoqQ-EstJQLr_T-1qS0gZH75aKtMN3Yj0iPS4hcgUuTwjAzZr1Z9CAow"
SIGNATURE = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"


@pytest.fixture
def house(workshop: Workshop) -> Workshop:
    """Return an organisation with rows of everything."""
    furnish(workshop, 3)
    fill_every_table(workshop.organisation)
    names = {"organisation": workshop.organisation, "installation": workshop.installation, "code": "rest_current"}
    Defect.objects.get_or_create(**names, defaults={"opened_at": timezone.now()})
    return workshop


@pytest.fixture
def reader(house: Workshop) -> Api:
    """Return an administrator's client whose token only reads."""
    api = Api(house.organisation, Role.ADMINISTRATOR)
    ApiToken.objects.filter(user=api.member.user).update(scope=READ_ONLY)
    return api


def judges_alone(pattern: str) -> bool:
    """Tell whether the address judges what is sent and stores nothing."""
    return pattern in READING or "preview" in pattern or "comparison" in pattern


def test_a_token_that_only_reads_writes_at_no_address(house: Workshop, reader: Api) -> None:
    for route in [route for route in api_routes() if not judges_alone(route.pattern)]:
        for method in sorted(route.methods & set(WRITES)):
            identity = route.first_row(house.organisation).uuid if route.takes_an_id else ""
            answer = send(reader, method, route.address(identity), body_for(method, route.pattern)(house))
            if answer.status_code == 207:
                assert [result["status"] for result in answer.json()["results"]] == [403]
                continue
            assert_problem(answer, 403)
            assert answer.headers["www-authenticate"] == 'Bearer error="insufficient_scope"', route.pattern
            assert "may only read" in answer.json()["detail"]


def test_it_reads_and_judges_without_storing(house: Workshop, reader: Api) -> None:
    assert reader.get("vehicles/").status_code == 200
    for address in sorted(READING):
        assert reader.post(address, body_for("post", address)(house)).status_code == 200


def test_the_published_token_is_signed_as_the_standard_says() -> None:
    key = base64.urlsafe_b64decode(KEY + "==")
    digest = hmac.new(key, SIGNED.encode(), hashlib.sha256).digest()
    assert base64.urlsafe_b64encode(digest).rstrip(b"=").decode() == SIGNATURE


@pytest.mark.parametrize(
    "token",
    [f"{SIGNED}.{SIGNATURE}", f"{SIGNED}.", "eyJhbGciOiJub25lIn0.eyJpc3MiOiJqb2UifQ."],
    ids=["signed", "unsigned", "of no algorithm"],
)
def test_a_token_that_says_itself_who_it_is_is_refused(db: None, token: str) -> None:
    answer = Client(headers={"authorization": f"Bearer {token}"}).get("/api/v1/vehicles/")
    assert_problem(answer, 401)
    assert answer.headers["www-authenticate"] == 'Bearer error="invalid_token"'


def test_without_any_token_no_error_is_named(db: None) -> None:
    assert Client().get("/api/v1/vehicles/").headers["www-authenticate"] == "Bearer"


def test_a_token_in_the_address_is_not_read(api: Api) -> None:
    assert_problem(Client().get(f"/api/v1/vehicles/?access_token={api.token}"), 401)


@override_settings(SECURE=True, SECURE_SSL_REDIRECT=True)
def test_over_plain_http_the_interface_refuses_and_a_page_redirects(api: Api) -> None:
    assert "HTTPS" in assert_problem(api.get("vehicles/"), 403)["detail"]
    assert api.client.get("/api/v1/vehicles/", secure=True).status_code == 200
    page = Client().get("/sign-in/")
    assert (page.status_code, page.headers["location"]) == (301, "https://testserver/sign-in/")


def test_checks_that_wait_for_a_signature_are_found_by_a_filter(workshop: Workshop) -> None:
    trainee, technician = Api(workshop.organisation, Role.TRAINEE), Api(workshop.organisation)
    waiting = trainee.post("inspections/", inspection_document(workshop)).json()["id"]
    signed = technician.post("inspections/", inspection_document(workshop)).json()["id"]
    for flag, found in (("true", waiting), ("false", signed)):
        assert [row["id"] for row in technician.get("inspections/", unsigned=flag).json()["results"]] == [found]
    assert_problem(technician.get("inspections/", unsigned="maybe"), 400)
