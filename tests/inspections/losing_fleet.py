"""Units of which every other loses current, and what a night has found of them, comparable between organisations."""

import datetime as dt
from typing import Any
from uuid import uuid4

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Installation
from inspections.models import Decline, Inspection, Trend
from inspections.services.trend_news import note_news
from schedules.models import DueDate
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded

VISITS = 9
QUARTER = dt.timedelta(days=91)
FIRST_VISIT = dt.datetime(2024, 3, 4, 9, 30, tzinfo=dt.UTC)
# Invented scatter in hundredths of a percent.
SCATTER = [30, -40, 10, 50, -20, -50, 40, 0, -10]


def losing_fleet(units: int, **fields: Any) -> Workshop:
    """Make an organisation whose units have nine checks each; those of odd number lose 2 % a check in stage 3.

    One visit is recorded, and the others are rows like it: the night reads levels, not evidence.
    """
    workshop = builders.workshop()
    template = recorded(workshop, FIRST_VISIT.isoformat(), **fields).inspection
    with organisation_transaction(workshop.organisation):
        fitted = [workshop.installation, *(_another(workshop) for _ in range(1, units))]
        rows = [
            _check(template, number, installation.pk, visit)
            for number, installation in enumerate(fitted)
            for visit in range(VISITS)
            if (number, visit) != (0, 0)
        ]
        Inspection.objects.bulk_create(rows)
        note_news(workshop.organisation.pk, [installation.retarder_id for installation in fitted])
    return workshop


def found_in(organisation: Organisation) -> list[Any]:
    """Return what the nights have found, unit by unit as they were made, without keys and times of writing."""
    with organisation_transaction(organisation):
        trends = Trend.objects.of(organisation).order_by("installation")
        declines = Decline.objects.of(organisation).order_by("installation", "raised_at", "attribution", "stage")
        place = {pk: number for number, pk in enumerate(trends.values_list("installation", flat=True))}
        columns = ("attribution", "stage", "rising", "state", "raised_at", "ended_at", "reason")
        fitted = trends.values_list("figures", "attribution", "next_check_on")
        return [
            *((bytes(figures).hex(), attribution, str(on)) for figures, attribution, on in fitted),
            *((place[row.installation_id], *(str(getattr(row, column)) for column in columns)) for row in declines),
        ]


def installations_of(organisation: Organisation) -> list[Installation]:
    """Return the units in the order in which they were made."""
    return list(Installation.objects.of(organisation).order_by("pk"))


def due_dates_of(organisation: Organisation) -> list[Any]:
    """Return what is stored of the due dates, unit by unit as they were made."""
    with organisation_transaction(organisation):
        columns = ("due_on", "limb", "state", "overdue_days", "last_check_on")
        rows = DueDate.objects.of(organisation).order_by("installation").values_list(*columns)
        return [tuple(map(str, row)) for row in rows]


def _another(workshop: Workshop) -> Any:
    kind = workshop.installation.retarder.retarder_type
    return builders.installation(workshop.organisation, retarder_type=kind)


def _check(template: Inspection, number: int, installation_id: int, visit: int) -> Inspection:
    columns = {field.attname: getattr(template, field.attname) for field in Inspection._meta.concrete_fields}
    at = FIRST_VISIT + visit * QUARTER
    lost = 200 * max(0, visit - 3) * (number % 2)
    levels = {f"level_{k}": 10_000 + SCATTER[(visit + 3 * k + number) % VISITS] for k in range(1, 5)}
    levels["level_3"] -= lost
    changed = {"id": None, "uuid": uuid4(), "installation_id": installation_id, "performed_at": at, **levels}
    return Inspection(**{**columns, **changed, "performed_on": at.date()})
