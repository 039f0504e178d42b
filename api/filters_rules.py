"""What lists of types and of limits' revisions can be narrowed by."""

import django_filters as filters

from api.filters import RowFilter
from fleet.models import RetarderType
from inspections.models import LimitsRevision


class RetarderTypeFilter(RowFilter):
    """Types by what is written on them."""

    designation = filters.CharFilter()

    class Meta:
        model = RetarderType
        fields: list[str] = []


class LimitsRevisionFilter(RowFilter):
    """Revisions of bounds, limits and lists by number."""

    revision = filters.NumberFilter(field_name="number", min_value=1, max_value=1_000_000)

    class Meta:
        model = LimitsRevision
        fields: list[str] = []
