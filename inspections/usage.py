"""How far a vehicle has gone with a defect, from its odometers."""

from collections.abc import Sequence

from calc.due import local_date
from calc.usage import usage_at
from inspections.models import Defect
from schedules.queries import counter_series


def km_since(defects: Sequence[Defect]) -> dict[int, float]:
    """Return the km since each defect was opened, by its key; absent where the counters cannot tell.

    Two queries however many defects; they carry installation, vehicle and depot.
    """
    series = counter_series({defect.installation.vehicle_id for defect in defects})
    found = {}
    for defect in defects:
        vehicle = defect.installation.vehicle
        known = series.get((vehicle.pk, "odometer"), ())
        opened_km = usage_at(known, local_date(defect.opened_at, vehicle.depot.time_zone)) if known else None
        if opened_km is not None:
            until = defect.closed_at and local_date(defect.closed_at, vehicle.depot.time_zone)
            last_km = known[-1].value if until is None else usage_at(known, until)
            found[defect.pk] = max((last_km or opened_km) - opened_km, 0.0)
    return found
