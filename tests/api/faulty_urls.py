"""The service's addresses, and two more that fail: one of the machines' door, one of Django's own views."""

from django.http import HttpRequest, HttpResponse
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response

from api.views.base import ActorView
from config import urls

SECRET = "a sentence that no client may read"


class FailingView(ActorView):
    """A view with a fault of ours in it."""

    def get(self, request: Request) -> Response:
        """Fail."""
        raise RuntimeError(SECRET)


def failing(request: HttpRequest) -> HttpResponse:
    """Fail."""
    raise RuntimeError(SECRET)


urlpatterns = [*urls.urlpatterns, path("api/v1/faulty/", FailingView.as_view()), path("faulty/", failing)]
handler400, handler403 = urls.handler400, urls.handler403
handler404, handler500 = urls.handler404, urls.handler500
