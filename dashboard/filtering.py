"""What every filter of a list shares: a search box that forgives spaces, days from a calendar, choices of words."""

import re
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import CharField, Q, QuerySet, Value
from django.db.models.functions import Replace, Upper
from django.utils.translation import gettext_lazy as _

from accounts.models import Depot, Member


def squeezed(text: str) -> str:
    """Return a number in capitals without spaces and hyphens, as people write it either way.

    >>> squeezed(" demo-41 00 ")
    'DEMO4100'
    """
    return re.sub(r"[\s-]", "", text).upper()


def column_without_spaces(name: str) -> Any:
    """Return a column as `squeezed` would write it."""
    plain = Replace(Upper(name), Value(" "), Value(""), output_field=CharField())
    return Replace(plain, Value("-"), Value(""), output_field=CharField())


def matching(rows: QuerySet[Any], text: str, columns: dict[str, str]) -> QuerySet[Any]:
    """Keep the rows in which one of the columns holds the text, spaces, hyphens and capitals aside."""
    wanted = squeezed(text)
    if not wanted:
        return rows
    rows = rows.alias(**{alias: column_without_spaces(name) for alias, name in columns.items()})
    condition = Q()
    for alias in columns:
        condition |= Q(**{f"{alias}__contains": wanted})
    return rows.filter(condition)


def vehicle_columns(prefix: str = "", serial: str = "") -> dict[str, str]:
    """Return what a vehicle or its unit is found by."""
    columns = {f"plain_{name}": f"{prefix}{name}" for name in ("fleet_number", "registration", "vin")}
    return columns | ({"plain_serial": serial} if serial else {})


def depots_of(view: Any) -> QuerySet[Depot]:
    """Return the depots one may choose from."""
    return Depot.objects.of(view.organisation).order_by("name")


def members_of(view: Any) -> QuerySet[Member]:
    """Return the people one may choose from."""
    return Member.objects.of(view.organisation).select_related("user").order_by("user__username")


class BookFilter(filters.FilterSet):  # type: ignore[misc]
    """Every list has a search box; what it looks in is told by `columns`."""

    columns: dict[str, str] = {}
    q = filters.CharFilter(method="filter_text", label=_("Search"))

    def filter_text(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what holds the text."""
        return matching(rows, value, self.columns)


class DayFilter(filters.DateFilter):  # type: ignore[misc]
    """A day, picked from a calendar."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Ask for the browser's own calendar, and read what it sends."""
        widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        super().__init__(*args, widget=widget, input_formats=["%Y-%m-%d"], **kwargs)


def depot_filter(field_name: str) -> Any:
    """Return a choice of depots."""
    return filters.ModelChoiceFilter(
        field_name=field_name, queryset=depots_of, to_field_name="uuid", label=_("Depot"), empty_label=_("all")
    )


def choice(label: Any, choices: Any, **options: Any) -> Any:
    """Return a choice of words."""
    return filters.ChoiceFilter(label=label, choices=choices, empty_label=_("all"), **options)
