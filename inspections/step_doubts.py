"""Steps that no clamp corroborates, and the units that were read since: the clamp may be the cause, or the units."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from accounts.models import Organisation
from inspections.clamp_doubts import ClampDoubt, doubt_of
from inspections.models import Calibration, Inspection, Meter, MeterEffect


@dataclass(frozen=True, slots=True)
class StepDoubt:
    """A clamp, and since when what is read with it shows otherwise than before."""

    clamp: Meter
    doubt: ClampDoubt


def step_doubts(organisation: Organisation) -> list[StepDoubt]:
    """Return every step of a clamp that no other clamp corroborates, newest first; where there is none, one query."""
    rows = MeterEffect.objects.of(organisation).filter(corroborated=False, effect__isnull=False)
    found = list(rows.select_related("meter").order_by("-since_day", "meter"))
    if not found:
        return []
    clamps = {row.meter_id for row in found}
    steps, calibrated = defaultdict[int, list[MeterEffect]](list), defaultdict[int, list[dt.date]](list)
    for row in MeterEffect.objects.filter(meter__in=clamps):
        steps[row.meter_id].append(row)
    days = Calibration.objects.filter(meter__in=clamps).order_by("performed_on")
    for clamp, on in days.values_list("meter", "performed_on"):
        calibrated[clamp].append(on)
    doubts = [StepDoubt(row.meter, doubt_of(row, steps[row.meter_id], calibrated[row.meter_id])) for row in found]
    return [each for each in doubts if not each.doubt.is_replaced]


def doubts_by_unit(doubts: Sequence[StepDoubt], units: Collection[int]) -> dict[int, list[StepDoubt]]:
    """Return which of some doubts each unit was read under, by the keys of the retarders, in one query."""
    if not doubts or not units:
        return {}
    first = min(each.doubt.from_on or dt.date.min for each in doubts)
    checks = Inspection.objects.filter(
        ammeter__in={each.clamp.pk for each in doubts},
        installation__retarder__in=units,
        performed_on__gte=first,
        signed_at__isnull=False,
        superseded_by__isnull=True,
    )
    read = defaultdict[tuple[int, int], list[dt.date]](list)
    for unit, clamp, on in checks.values_list("installation__retarder", "ammeter", "performed_on"):
        read[unit, clamp].append(on)
    return {
        unit: [each for each in doubts if any(each.doubt.holds_on(on) for on in read[unit, each.clamp.pk])]
        for unit in units
    }
