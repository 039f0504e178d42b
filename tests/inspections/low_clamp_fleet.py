"""Units that several clamps read, of which one turns low, with a calibration on file about it or without."""

import datetime as dt
from dataclasses import dataclass
from uuid import uuid4

import pytest

from inspections.models import Calibration, Decline, Inspection, Meter, MeterEffect
from inspections.services.trend_news import note_news
from inspections.services.trends import refresh_trends
from tests import builders
from tests.builders import Workshop
from tests.inspections.losing_fleet import FIRST_VISIT, QUARTER, SCATTER
from tests.inspections.visits import recorded

UNITS, VISITS = 24, 12
LOW_HUNDREDTHS, LOW_FROM = -350, 6
FIELDS = Inspection._meta.concrete_fields


@dataclass(frozen=True)
class Fleet:
    workshop: Workshop
    low: Meter
    good: list[Meter]
    units: list[int]


def low_clamp_fleet(*, other_clamps: int = 3) -> Fleet:
    """Make units of which most are read by several clamps; one of these turns low, and a few are left to it alone.

    Without other clamps nobody can tell whether it is the clamp, or the units that lose current.
    """
    workshop = builders.workshop()
    others = [builders.meter(workshop.organisation, "ammeter") for _ in range(other_clamps)]
    template = recorded(workshop, FIRST_VISIT.isoformat()).inspection
    kind = workshop.installation.retarder.retarder_type
    fitted = [
        workshop.installation,
        *(builders.installation(workshop.organisation, retarder_type=kind) for _ in range(1, UNITS)),
    ]
    clamps = [workshop.ammeter, *others]
    rows = [
        check(template, installation.pk, number, visit, clamps)
        for number, installation in enumerate(fitted)
        for visit in range(VISITS)
        if (number, visit) != (0, 0)
    ]
    Inspection.objects.bulk_create(rows)
    return Fleet(workshop, workshop.ammeter, others, [each.retarder_id for each in fitted])


def check(template: Inspection, installation: int, number: int, visit: int, clamps: list[Meter]) -> Inspection:
    """Return one check: each fourth unit is read by the low clamp once it is low, the others by each in turn."""
    low_alone = number % 4 == 0 and visit >= LOW_FROM
    clamp = clamps[0] if low_alone else clamps[(number + visit) % len(clamps)]
    reads_low = clamp == clamps[0] and visit >= LOW_FROM
    at = FIRST_VISIT + visit * QUARTER
    scatter = [SCATTER[(visit + 3 * stage + number) % len(SCATTER)] for stage in range(1, 5)]
    levels = {f"level_{k}": 10_000 + scatter[k - 1] + (LOW_HUNDREDTHS if reads_low else 0) for k in range(1, 5)}
    columns = {field.attname: getattr(template, field.attname) for field in FIELDS}
    changed = {"id": None, "uuid": uuid4(), "installation_id": installation, "ammeter_id": clamp.pk, **levels}
    return Inspection(**{**columns, **changed, "performed_at": at, "performed_on": at.date()})


def calibrated(fleet: Fleet) -> dt.date:
    on = (FIRST_VISIT + LOW_FROM * QUARTER).date() - dt.timedelta(days=5)
    Calibration.objects.create(
        organisation=fleet.workshop.organisation,
        meter=fleet.low,
        performed_on=on,
        due_on=on + dt.timedelta(days=3650),
    )
    return on


def nights(fleet: Fleet) -> tuple[list[int], int]:
    """Run a night that has no clamp to compare yet, and one that has; return what was open, and how much changed."""
    organisation = fleet.workshop.organisation
    note_news(organisation.pk, fleet.units)
    # What the clamps do to each other is looked at once a week in a large fleet: until then it counts as loss.
    MeterEffect.objects.create(
        organisation=organisation, meter=fleet.good[0], calibrated_day=-1, visits=1, measured_at=dt.datetime.now(dt.UTC)
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("inspections.services.meter_effects.SMALL_FLEET", 0)
        refresh_trends(organisation)
    opened = list(Decline.objects.of(organisation).filter(ended_at__isnull=True).values_list("pk", flat=True))
    note_news(organisation.pk, fleet.units[:1])
    return opened, refresh_trends(organisation).declines_changed
