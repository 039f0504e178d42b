"""Doors that put rows on file and change them: each change names what it changes by its entity tag."""

from collections.abc import Callable
from typing import Any

from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer

from api.etags import etag_of
from api.views.base import RowViewSet

Form = type[BaseSerializer[Any]]


class FilingViewSet(RowViewSet):
    """A list and a detail whose rows can be added and changed through services."""

    def added(self, form: Form, add: Callable[..., Any]) -> Response:
        """Add a row and answer it as a read would."""
        sent = form(data=self.request.data)
        sent.is_valid(raise_exception=True)
        row = add(self.actor, **sent.validated_data)
        return self._answer(row, status.HTTP_201_CREATED)

    def changed(self, form: Form, change: Callable[..., Any]) -> Response:
        """Change the columns that were sent and answer the row as a read would."""
        sent = form(data=self.request.data, partial=True)
        sent.is_valid(raise_exception=True)
        row = change(self.actor, self.get_object(), **sent.validated_data)
        return self._answer(row, status.HTTP_200_OK)

    def taken(self, form: Form, step: Callable[..., Any]) -> Response:
        """Take a step in a row's life and answer the row as a read would."""
        sent = form(data=self.request.data)
        sent.is_valid(raise_exception=True)
        row = self.get_object()
        step(self.actor, row, **sent.validated_data)
        return self._answer(row, status.HTTP_200_OK)

    def _answer(self, row: Any, code: int) -> Response:
        request: Request = self.request
        data = self.shown(self.get_queryset().get(pk=row.pk))
        headers = {"ETag": etag_of(data)}
        if code == status.HTTP_201_CREATED:
            headers["Location"] = request.build_absolute_uri(f"{request.path}{row.uuid}/")
        return Response(data, status=code, headers=headers)
