"""Lists page by key, so that page a thousand costs what page one does; nothing is counted unless asked."""

import re
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError as InvalidValue
from django.db import DataError
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from api.fields import shown

if TYPE_CHECKING:
    # rest_framework.views reads the setting that names this module.
    from rest_framework.views import APIView

HIGHEST_COUNT = 10_000
PAGE_SIZE = re.compile(r"[1-9][0-9]{0,8}")


class KeysetPagination(CursorPagination):
    """`results`, `next`, `previous`, a Link header, and a capped `count` for `?count=true`."""

    page_size = 50
    max_page_size = 500
    page_size_query_param = "page_size"
    # Rows that share a place in the order are passed over by number, and many units have no due date yet.
    offset_cutoff = 1_000_000
    ordering = ("-pk",)

    def get_ordering(self, request: Request, queryset: Any, view: "APIView") -> tuple[str, ...]:
        """Let each list have its own order; the key at the end makes it one order only."""
        return getattr(view, "ordering", self.ordering)

    def get_page_size(self, request: Request) -> int | None:
        """Return how many rows a page holds; a number that is none is refused, a larger one than allowed is cut."""
        size = request.query_params.get(self.page_size_query_param)
        if size is not None and not PAGE_SIZE.fullmatch(size):
            detail = _("%(value)s is not a page size; allowed is 1 to %(most)s.")
            values = {"value": shown(size), "most": self.max_page_size}
            raise exceptions.ValidationError({self.page_size_query_param: detail % values}, "invalid")
        return super().get_page_size(request)

    def paginate_queryset(self, queryset: Any, request: Request, view: "APIView | None" = None) -> Any:
        """Return one page; a cursor that was not made here is refused."""
        self.count = queryset.order_by()[:HIGHEST_COUNT].count() if self._counted(request) else None
        try:
            return super().paginate_queryset(queryset, request, view)
        except (ValueError, TypeError, OverflowError, InvalidValue, DataError, exceptions.NotFound):
            detail = _("This is not a cursor of this list; follow next and previous.")
            raise exceptions.ValidationError({"cursor": detail}, "invalid") from None

    def _counted(self, request: Request) -> bool:
        wanted = request.query_params.get("count", "false")
        if wanted not in ("true", "false"):
            detail = _("%(value)s is not allowed; allowed are true and false.")
            raise exceptions.ValidationError({"count": detail % {"value": shown(wanted)}}, "invalid")
        return wanted == "true"

    def get_paginated_response(self, data: Any) -> Response:
        """Answer a page with its neighbours."""
        links = {"next": self.get_next_link(), "previous": self.get_previous_link()}
        counted = {} if self.count is None else {"count": self.count}
        answer = Response({"results": data, **links, **counted})
        header = ", ".join(
            f'<{url}>; rel="{"prev" if name == "previous" else name}"' for name, url in links.items() if url
        )
        if header:
            answer["Link"] = header
        return answer

    def get_schema_operation_parameters(self, view: "APIView") -> list[dict[str, Any]]:
        """Describe what chooses a page, and the count."""
        parameters: list[dict[str, Any]] = super().get_schema_operation_parameters(view)
        for parameter in parameters:
            if parameter["name"] == self.page_size_query_param:
                parameter["description"] = f"How many rows a page holds, {self.page_size} by default."
                parameter["schema"] |= {"minimum": 1}
        description = f"Whether to count the rows, up to {HIGHEST_COUNT}."
        counted = {"name": "count", "in": "query", "required": False, "schema": {"type": "boolean"}}
        return [*parameters, {**counted, "description": description}]

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Describe a page."""
        link = {"type": ["string", "null"], "format": "uri"}
        properties = {"results": schema, "next": link, "previous": link, "count": {"type": "integer"}}
        return {"type": "object", "required": ["results", "next", "previous"], "properties": properties}
