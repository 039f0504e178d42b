"""Who signed in, who was refused and what was denied stands in the log, at the levels as delivered."""

import io
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from accounts.roles import Role
from config.log_lines import OneLine, RequestId
from tests import builders
from tests.builders import Workshop
from tests.conftest import Api

PASSWORD = "four coils warm slowly"
LOGGING: dict[str, Any] = settings.LOGGING


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """Catch what the service's own handler would write."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(OneLine(LOGGING["formatters"]["line"]["format"]))
    handler.addFilter(RequestId())
    root = logging.getLogger()
    root.addHandler(handler)
    yield stream
    root.removeHandler(handler)


def sign_in(username: str, password: str) -> None:
    Client().post("/sign-in/", {"username": username, "password": password})


def test_a_sign_in_is_logged_whether_it_succeeds_or_not(workshop: Workshop, log: io.StringIO) -> None:
    user = builders.member(workshop.organisation).user
    user.set_password(PASSWORD)
    user.save()
    sign_in(user.username, "not the one")
    sign_in(user.username, PASSWORD)
    refused, signed_in = [line for line in log.getvalue().splitlines() if "sign" in line]
    assert f"sign-in refused: {user.username} from 127.0.0.1" in refused
    assert f"signed in: {user.username} from 127.0.0.1" in signed_in
    assert "not the one" not in log.getvalue()
    assert PASSWORD not in log.getvalue()


def test_what_is_denied_is_logged_with_its_address(workshop: Workshop, log: io.StringIO) -> None:
    viewer = Api(workshop.organisation, Role.VIEWER)
    assert viewer.post("inspections/", builders.inspection_document(workshop)).status_code == 403
    assert Client().get("/api/v1/vehicles/").status_code == 401
    forbidden, unauthorized = log.getvalue().splitlines()
    assert "Forbidden: /api/v1/inspections/" in forbidden
    assert "Unauthorized: /api/v1/vehicles/" in unauthorized
    assert viewer.token not in log.getvalue()
