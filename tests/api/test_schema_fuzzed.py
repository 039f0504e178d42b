"""Every operation, sent what its own document allows and forbids, answers as the document says."""

from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import schemathesis
from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from accounts.roles import Role
from tests.accounts.tenant_tables import fill_every_table
from tests.api.full_house import furnish
from tests.api.routes import IDENTITY, api_routes
from tests.builders import Workshop
from tests.conftest import Api

# That what the document allows is always taken is not among them: that a retest names its defects, or that a stage is
# either read or named as not read, is a rule between fields and rows, which JSON Schema does not say.
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
# Neither a body nor a word in the address: there is nothing to send that could be forbidden.
TAKES_NOTHING = {"GET /api/v1/rules/"}
CASES_OF_EACH_KIND = 3
FEWEST_CASES = 300
FEWEST_SUCCESSES = 60


@pytest.fixture
def rows(workshop: Workshop) -> dict[str, str]:
    """Return the id of a row for each address that takes one."""
    furnish(workshop, 1)
    fill_every_table(workshop.organisation)
    return {
        f"/api/v1/{route.pattern.replace(IDENTITY, '{id}')}": str(route.first_row(workshop.organisation).uuid)
        for route in api_routes()
        if route.takes_an_id
    }


@pytest.fixture
def document(rows: dict[str, str]) -> Iterator[Any]:
    """Return the document as the service gives it, to be called in process; the connection is the test's own."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    found = schemathesis.openapi.from_wsgi("/api/v1/schema/", WSGIHandler())
    found.config.generation.with_security_parameters = False
    refused = [*found.config.checks.negative_data_rejection.expected_statuses, "412"]
    found.config.checks.negative_data_rejection.expected_statuses = refused
    yield found
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def test_every_operation_answers_as_its_document_says(document: Any, rows: dict[str, str], workshop: Workshop) -> None:
    token = Api(workshop.organisation, Role.ADMINISTRATOR).token
    headers = {"Authorization": f"Bearer {token}", "Accept-Encoding": "identity"}
    answered: Counter[int] = Counter()
    faults: dict[str, str] = {}

    def ask(case: Case[Any], checks: list[Any]) -> None:
        response = case.call(headers=headers)
        answered[response.status_code] += 1
        try:
            case.validate_response(response, checks=checks)
        except FailureGroup as group:
            faults.setdefault(f"{case.operation.label} {response.status_code}", str(group))

    operations = [result.ok() for result in document.get_all_operations()]
    for operation in operations:
        named = {"id": rows[operation.path]} if operation.path in rows else None
        allowed = operation.as_strategy(GenerationMode.POSITIVE, path_parameters=named)
        _each(allowed, lambda case: ask(case, CHECKS))
        if operation.label not in TAKES_NOTHING:
            forbidden = operation.as_strategy(GenerationMode.NEGATIVE)
            _each(forbidden, lambda case: ask(case, [*CHECKS, negative_data_rejection]))
    assert faults == {}
    assert len(operations) == sum(len(route.methods) for route in api_routes()) - 2
    assert answered.total() >= FEWEST_CASES, answered
    # A run that is refused everywhere would look at no answer worth the name.
    assert sum(count for code, count in answered.items() if code < 300) >= FEWEST_SUCCESSES, answered


def _each(cases: Any, ask: Callable[[Case[Any]], None]) -> None:
    """Ask about the same few cases in every run."""
    asks: Any = given(cases)
    few: Any = settings(
        max_examples=CASES_OF_EACH_KIND,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    few(asks(ask))()
