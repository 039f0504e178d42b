"""Every address of the machines' door, found by walking the URL resolver."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from accounts.models import Organisation

PREFIX = "api/v1/"
METHODS = ["get", "post", "put", "patch", "delete"]
IDENTITY = "<outside_id:id>"
# What stands there belongs to the organisation itself, and is no list of rows.
OF_THE_ORGANISATION = {"rules/"}


@dataclass(frozen=True)
class Route:
    """One address, with the methods that its view answers."""

    pattern: str
    view: Any
    methods: frozenset[str]

    @property
    def takes_an_id(self) -> bool:
        """Tell whether the address names one row."""
        return IDENTITY in self.pattern

    @property
    def view_class(self) -> Any:
        """Return the class behind the address."""
        return getattr(self.view, "cls", None)

    def address(self, identity: object = "") -> str:
        """Return the address under /api/v1/, with the row's id where it takes one."""
        address = self.pattern.replace(IDENTITY, str(identity))
        if re.search(r"[<>(){}?^$*\\]", address):
            raise ValueError(f"nobody has said how to call {self.pattern}")
        return address

    def first_row(self, organisation: Organisation) -> Any:
        """Return the organisation's first row of the kind that the address names."""
        return self.view_class.queryset.model.objects.filter(organisation=organisation).order_by("pk")[0]


def api_routes() -> list[Route]:
    """Return every address under /api/v1/, in the order of the resolver."""
    found = list(_walk(get_resolver().url_patterns, ""))
    return [
        Route(pattern.removeprefix(PREFIX), view, _methods(view))
        for pattern, view in found
        if pattern.startswith(PREFIX)
    ]


def _walk(patterns: Any, before: str) -> Iterator[tuple[str, Any]]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _walk(pattern.url_patterns, before + str(pattern.pattern))
        elif isinstance(pattern, URLPattern):
            yield before + str(pattern.pattern), pattern.callback
        else:
            raise TypeError(f"{pattern} is neither an address nor a list of them")


def _methods(view: Any) -> frozenset[str]:
    actions = getattr(view, "actions", None)
    return frozenset(name for name in METHODS if (name in actions if actions else hasattr(view.cls, name)))
