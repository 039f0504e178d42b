"""What the list of photos can be narrowed by."""

import django_filters as filters

from api.filters import FlagFilter, RowFilter
from inspections.models import Photo


class PhotoFilter(RowFilter):
    """Photos of one inspection or defect, or of those on the pages only."""

    inspection = filters.UUIDFilter(field_name="inspection__uuid")
    defect = filters.UUIDFilter(field_name="defect__uuid")
    withdrawn = FlagFilter(field_name="withdrawn_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Photo
        fields: list[str] = []
