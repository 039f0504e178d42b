"""What lists of calibrations and comparisons can be narrowed by."""

from typing import Any
from uuid import UUID

import django_filters as filters
from django.db.models import Q

from api.filters import FlagFilter, RowFilter
from inspections.models import Calibration, MeterComparison


class CalibrationFilter(RowFilter):
    """Calibrations by meter and outcome."""

    meter = filters.UUIDFilter(field_name="meter__uuid")
    passed = FlagFilter()
    found_in_tolerance = FlagFilter()

    class Meta:
        model = Calibration
        fields: list[str] = []


class ComparisonFilter(RowFilter):
    """Comparisons by either meter and outcome."""

    meter = filters.UUIDFilter(method="filter_meter")
    agree = FlagFilter()

    class Meta:
        model = MeterComparison
        fields: list[str] = []

    def filter_meter(self, queryset: Any, name: str, value: UUID) -> Any:
        """Take the meter on either side."""
        return queryset.filter(Q(first__uuid=value) | Q(second__uuid=value))
