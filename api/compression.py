"""Compress the interface's answers without losing what their entity tags promise."""

import re
from typing import Any, ClassVar

from django.http import HttpRequest
from django.middleware.gzip import GZipMiddleware
from django.utils.cache import patch_vary_headers

from api.etags import mark_compressed

PREFIX = "/api/"
# The framework reads "gzip;q=0" as a wish for gzip.
REFUSES_GZIP = re.compile(r"\bgzip\s*;\s*q=0(\.0*)?\s*(,|$)")


class CompressedAnswers(GZipMiddleware):
    """Compress what the interface answers; pages are left to the proxy.

    The framework makes tags weak, because its compressed bytes differ from time to time.  Nothing secret stands beside
    what a stranger could choose in these answers, so the bytes are always the same here, and the tag stays strong.
    """

    max_random_bytes: ClassVar[Any] = None

    def process_response(self, request: HttpRequest, response: Any) -> Any:
        """Compress an answer of the interface where the client takes it."""
        if not request.path.startswith(PREFIX) or response.streaming or not _is_text(response):
            return response
        if REFUSES_GZIP.search(request.headers.get("Accept-Encoding", "")):
            patch_vary_headers(response, ("Accept-Encoding",))
            return response
        was_encoded = response.has_header("Content-Encoding")
        answer: Any = super().process_response(request, response)
        if not was_encoded and answer.has_header("Content-Encoding"):
            mark_compressed(answer)
        return answer


def _is_text(response: Any) -> bool:
    media_type = response.get("Content-Type", "")
    return "json" in media_type or media_type.startswith("text/")
