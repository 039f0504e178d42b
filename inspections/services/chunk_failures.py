"""What of a night's chunks could not be done, for reports and pages."""

from typing import TypeVar

from django.db.models import Model, QuerySet, Sum

from accounts.models import Organisation
from inspections.models.chunks import Chunk
from inspections.services.chunks import failed_chunks

Row = TypeVar("Row", bound=Model)


def units_failed(table: type[Chunk], organisation: Organisation) -> int:
    """Return how many units could not be done; the caller names the organisation."""
    units: int = failed_chunks(table, organisation).aggregate(units=Sum("units", default=0))["units"]
    return units


def first_failed(
    table: type[Chunk], organisation: Organisation, rows: QuerySet[Row], most: int
) -> list[tuple[Row, int]]:
    """Return so many of what could not be done: the row of a first unit, and among how many it is.

    These are more than one where cutting stopped.  The caller names the organisation.
    """
    chunks = list(failed_chunks(table, organisation)[:most])
    found = rows.in_bulk([chunk.first_unit for chunk in chunks])
    return [(found[chunk.first_unit], chunk.units) for chunk in chunks]
