"""What the history can be narrowed by: what it is about, who did it, and when."""

from typing import Any

import django_filters as filters
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from accounts.models import AuditEntry
from dashboard.filtering import BookFilter, DayFilter, choice, members_of
from dashboard.records.action_words import KINDS

OBJECT_TYPES = {kind: types for kind, _word, types in KINDS}


class HistoryFilter(BookFilter):
    """Entries by what they are about, who and when; days are days in UTC."""

    q = None
    kind = choice(_("About"), [(kind, word) for kind, word, _types in KINDS], method="filter_kind")
    person = filters.ModelChoiceFilter(
        queryset=members_of, to_field_name="uuid", method="filter_person", label=_("Who"), empty_label=_("all")
    )
    since = DayFilter(field_name="at", lookup_expr="date__gte", label=_("From"))
    until = DayFilter(field_name="at", lookup_expr="date__lte", label=_("Until"))

    class Meta:
        model = AuditEntry
        fields: list[str] = []

    def filter_kind(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what is about one kind of thing."""
        return rows.filter(object_type__in=OBJECT_TYPES[value])

    def filter_person(self, rows: QuerySet[Any], name: str, value: Any) -> QuerySet[Any]:
        """Keep what a person did, or had done."""
        return rows.filter(actor=value.user_id) | rows.filter(on_behalf_of=value.user_id)
