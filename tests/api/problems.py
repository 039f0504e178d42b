"""What every refusal must look like, asserted in one place."""

from http import HTTPStatus
from typing import Any

MEDIA_TYPE = "application/problem+json"


def assert_problem(answer: Any, status: int) -> dict[str, Any]:
    """Return the problem document of an answer, once it has been found to be one (RFC 9457)."""
    assert answer.status_code == status, answer.content
    assert answer.headers["content-type"] == MEDIA_TYPE
    problem: dict[str, Any] = answer.json()
    assert problem["status"] == status
    assert problem["title"] == HTTPStatus(status).phrase
    assert problem["errors"]
    for error in problem["errors"]:
        assert error.keys() == {"pointer", "code", "detail"}
        assert error["detail"]
    assert problem["detail"] == problem["errors"][0]["detail"]
    return problem


def fault_at(answer: Any, pointer: str, status: int = 400) -> dict[str, str]:
    """Return the one fault at a place of a refused body."""
    errors = assert_problem(answer, status)["errors"]
    found: list[dict[str, str]] = [error for error in errors if error["pointer"] == pointer]
    assert len(found) == 1, errors
    return found[0]
