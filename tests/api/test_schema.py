"""The OpenAPI document and the page that shows it."""

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from django.test import Client
from openapi_spec_validator import validate

from api.urls import router
from tests.api.problems import MEDIA_TYPE
from tests.api.routes import OF_THE_ORGANISATION, api_routes

UNDOCUMENTED = {"schema/", "docs/"}
ELSEWHERE = re.compile(r"(?:https?:)?//[\w.-]+")


class Links(HTMLParser):
    """Collect where a page loads from and leads to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value or "" for name, value in attrs if name in ("src", "href", "action", "data", "srcset")]


@pytest.fixture(scope="module")
def schema(django_db_setup: None, django_db_blocker: Any) -> dict[str, Any]:
    """Return the document, as anybody may read it."""
    with django_db_blocker.unblock():
        answer = Client().get("/api/v1/schema/")
    assert answer.status_code == 200
    assert "json" in answer.headers["content-type"]
    document: dict[str, Any] = answer.json()
    return document


def operations(schema: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return every operation by its method and address."""
    return {
        f"{method} {path}": operation
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
    }


def test_the_document_is_valid_openapi_3_1(schema: dict[str, Any]) -> None:
    assert schema["openapi"].startswith("3.1")
    validate(schema)


def test_every_address_and_method_is_documented_and_nothing_else(schema: dict[str, Any]) -> None:
    expected = {
        f"{method} /api/v1/{route.pattern.replace('<outside_id:id>', '{id}')}"
        for route in api_routes()
        if route.pattern not in UNDOCUMENTED
        for method in route.methods
    }
    assert set(operations(schema)) == expected


def test_every_operation_asks_for_a_bearer_token(schema: dict[str, Any]) -> None:
    assert schema["components"]["securitySchemes"] == {"bearer": {"type": "http", "scheme": "bearer"}}
    for name, operation in operations(schema).items():
        assert operation["security"] == [{"bearer": []}], name


def test_every_operation_documents_its_problems(schema: dict[str, Any]) -> None:
    for name, operation in operations(schema).items():
        refusals = {code: answer for code, answer in operation["responses"].items() if code >= "400"}
        expected = {"400", "401", "403", "404", "405"} | ({"409", "413", "415"} if name.startswith("post") else set())
        assert set(refusals) >= expected, name
        for answer in refusals.values():
            assert answer["content"].keys() == {MEDIA_TYPE}
        assert any(code < "300" for code in operation["responses"]), name


def test_every_list_documents_its_filters_and_pages(schema: dict[str, Any]) -> None:
    lists = [
        path for path in schema["paths"] if re.fullmatch(r"/api/v1/[a-z-]+/", path) and "get" in schema["paths"][path]
    ]
    lists = [path for path in lists if path.removeprefix("/api/v1/") not in OF_THE_ORGANISATION]
    assert len(lists) == len([route for route in router.registry if hasattr(route[1], "list")])
    for path in lists:
        operation = schema["paths"][path]["get"]
        assert {parameter["name"] for parameter in operation["parameters"]} >= {"cursor", "page_size", "changed_after"}
        reference = operation["responses"]["200"]["content"]["application/json"]["schema"]["$ref"]
        page = schema["components"]["schemas"][reference.rpartition("/")[2]]
        assert page["required"] == ["results", "next", "previous"]


def test_the_page_shows_the_document_and_loads_nothing_from_elsewhere() -> None:
    client = Client()
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200
    links = Links()
    links.feed(page.content.decode())
    assert len(links.found) >= 4
    for link in links.found:
        assert not ELSEWHERE.match(link), link
        answer = client.get(link)
        assert answer.status_code == 200, link


def test_the_pages_script_names_no_address_elsewhere() -> None:
    client = Client()
    links = Links()
    links.feed(client.get("/api/v1/docs/").content.decode())
    (own,) = [link for link in links.found if "script" in link.partition("?")[2]]
    script = client.get(own).content.decode()
    assert "/api/v1/schema/" in script
    assert '"validatorUrl": null' in script
    assert ELSEWHERE.findall(re.sub(r"^\s*//.*$", "", script, flags=re.MULTILINE)) == []
