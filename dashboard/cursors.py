"""Pages of a list by key: page a thousand costs what page one does, and a row that comes or goes shifts nothing."""

import base64
import binascii
import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any, Generic, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import DataError
from django.db.models import Model, Q, QuerySet
from django.http import Http404

Row = TypeVar("Row", bound=Model)
PAGE_SIZE = 50
# What a place that was not made here runs into: no base64, no JSON, nested too deep, or no value of the column.
NO_PLACE = (ValueError, TypeError, ValidationError, binascii.Error, RecursionError, OverflowError, DataError)


@dataclass(frozen=True, slots=True)
class KeysetPage(Generic[Row]):
    """One page of rows, and the places where its neighbours begin."""

    rows: list[Row]
    after: str | None
    before: str | None


def keyset_page(
    rows: QuerySet[Row], order: Sequence[str], *, after: str | None, before: str | None, size: int = PAGE_SIZE
) -> KeysetPage[Row]:
    """Return the page after, or before, a place; `order` ends with a column that is unique."""
    try:
        if before:
            return _page_before(rows, order, before, size)
        found = list((_beyond(rows, order, after) if after else rows).order_by(*order)[: size + 1])
    except NO_PLACE:
        raise Http404 from None
    kept = found[:size]
    return KeysetPage(
        kept,
        after=_place(kept[-1], order) if len(found) > size else None,
        before=_place(kept[0], order) if after and kept else None,
    )


def _page_before(rows: QuerySet[Row], order: Sequence[str], before: str, size: int) -> KeysetPage[Row]:
    backwards = [_turned(name) for name in order]
    found = list(_beyond(rows, backwards, before).order_by(*backwards)[: size + 1])
    kept = found[:size][::-1]
    return KeysetPage(
        kept,
        after=_place(kept[-1], order) if kept else None,
        before=_place(kept[0], order) if len(found) > size else None,
    )


def _turned(name: str) -> str:
    return name.removeprefix("-") if name.startswith("-") else f"-{name}"


def _place(row: Model, order: Sequence[str]) -> str:
    values = [_value(row, name.removeprefix("-")) for name in order]
    return base64.urlsafe_b64encode(json.dumps(values, default=_written).encode()).decode().rstrip("=")


def _written(value: dt.date | UUID) -> str:
    """Write instants to the microsecond: rounded, a place would lie before its own row and the walk never end."""
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _value(row: Any, name: str) -> Any:
    return reduce(getattr, name.split("__"), row)


def _beyond(rows: QuerySet[Row], order: Sequence[str], place: str) -> QuerySet[Row]:
    values = json.loads(base64.urlsafe_b64decode(place + "=" * (-len(place) % 4)))
    if not isinstance(values, list) or len(values) != len(order):
        raise ValueError(place)
    condition, equal_so_far = Q(), Q()
    for name, value in zip(order, values, strict=True):
        column, side = name.removeprefix("-"), "lt" if name.startswith("-") else "gt"
        condition |= equal_so_far & Q(**{f"{column}__{side}": value})
        equal_so_far &= Q(**{column: value})
    return rows.filter(condition)
