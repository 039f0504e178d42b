"""What a chunk of the night's list has to say: its units and their checks read, and every history fitted."""

from dataclasses import dataclass

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.arrays import Ints
from calc.trend import TrendBatch, fit
from inspections.clamp_corrections import corrections_of
from inspections.models import TrendChunk
from inspections.packed import read_rows
from inspections.series import UNIT_COLUMNS, Units, checks_of

_NEWS = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id AND i.removed_on IS NULL
JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
JOIN fleet_retarder r ON r.id = i.retarder_id
JOIN fleet_retardertype k ON k.id = r.retarder_type_id
WHERE n.organisation_id = %s AND n.retarder_id BETWEEN %s AND %s AND i.retarder_id BETWEEN %s AND %s
"""
# The whole history of a unit, wherever it was fitted.  The range is named for both tables: the server does not conclude
# it from the join, and would read every fitting of the fleet for each chunk of it.
_CHECKS = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id
JOIN inspections_inspection v ON v.installation_id = i.id
WHERE n.organisation_id = %s AND n.retarder_id BETWEEN %s AND %s AND i.retarder_id BETWEEN %s AND %s
AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL
"""


@dataclass(frozen=True, slots=True)
class Fit:
    """What was found of some units whose histories are about equally long.

    `checks` and `performed_us` have shape (visits, units), as in `Histories`.
    """

    units: Units
    checks: Ints
    performed_us: Ints
    found: TrendBatch


@dataclass(frozen=True, slots=True)
class Chosen:
    """A fit and the places of those of its units that are to be stored."""

    fit: Fit
    places: Ints


def fits_of(organisation: Organisation, chunk: TrendChunk) -> list[Fit]:
    """Return the fits of the units of a chunk that are on the list and in service."""
    in_range = [organisation.pk, *2 * (chunk.first_unit, chunk.last_unit)]
    with organisation_transaction(organisation):
        # The list before the evidence: what changes in between has another mark by the time the fit is written.
        units = Units.of(read_rows(UNIT_COLUMNS, _NEWS, in_range))
        if not len(units):
            return []
        checks = checks_of(units, _CHECKS, in_range)
        corrections = corrections_of(organisation, checks.clamps)
    return [
        Fit(each.units, each.checks, each.performed_us, fit(each.batch, corrections)) for each in checks.histories()
    ]
