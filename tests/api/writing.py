"""Writes with headers, for the tests of what guards them."""

import json
from typing import Any

from tests.conftest import Api


def sent(api: Api, method: str, path: str, document: Any, **headers: str) -> Any:
    """Send a document with headers, each named with underscores."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return api.client.generic(
        method.upper(), f"/api/v1/{path}", json.dumps(document), content_type="application/json", headers=named
    )


def read(api: Api, path: str, **headers: str) -> Any:
    """Read an address with headers."""
    return api.client.get(f"/api/v1/{path}", headers={name.replace("_", "-"): value for name, value in headers.items()})
