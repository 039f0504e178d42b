"""Two meters compared: worked out from their figures of the day, kept once, never changed."""

import datetime as dt
from decimal import Decimal
from math import hypot
from typing import Any
from uuid import uuid4

import pytest

from accounts.actors import Actor
from accounts.errors import Conflict, NotAllowed, Refused
from accounts.models import AuditEntry
from accounts.roles import Role
from inspections.models import MeterComparison
from inspections.services.comparisons import compare_meters, record_comparison
from inspections.services.meters import change_meter
from tests import builders
from tests.builders import Workshop
from tests.naming import name

ON = dt.date(2026, 3, 2)


@pytest.fixture
def technician(workshop: Workshop) -> Actor:
    return builders.actor(workshop.organisation)


def readings(*pairs: tuple[str, str]) -> list[dict[str, Decimal]]:
    return [{"first": Decimal(first), "second": Decimal(second)} for first, second in pairs]


def kept(by: Actor, of: Workshop, other: Any, *pairs: tuple[str, str], **fields: Any) -> MeterComparison:
    return record_comparison(
        by, first=of.ammeter.uuid, second=other.uuid, compared_on=ON, readings=readings(*pairs), **fields
    )


def test_the_largest_e_n_decides_and_the_digits_stay(workshop: Workshop, technician: Actor) -> None:
    other = builders.meter(workshop.organisation, "ammeter")
    row = kept(technician, workshop, other, ("36.30", "35.9"), ("72.1", "66.0"))
    # ±(2 % + 0.5 A) is 1.942 A at 72.1 A and 1.82 A at 66.0 A, each a rectangle: U = 2 a / √3.
    assert row.normalised_error == pytest.approx(6.1 / (2 / 3**0.5 * hypot(1.942, 1.82)), rel=1e-9)
    assert not row.agree
    assert [(pair["first"], pair["second"]) for pair in row.pairs] == [("36.30", "35.9"), ("72.1", "66.0")]
    entry = AuditEntry.objects.get(organisation=workshop.organisation, action="compare")
    assert entry.after is not None
    assert entry.after["normalised_error"] == repr(row.normalised_error)


def test_the_outcome_stands_with_the_figures_of_its_day(workshop: Workshop, technician: Actor) -> None:
    other = builders.meter(workshop.organisation, "ammeter")
    row = kept(technician, workshop, other, ("36.3", "34.5"))
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    change_meter(manager, other, accuracy_percent=0.1, accuracy_counts=1.0, resolution=0.01)
    row.refresh_from_db()
    assert row.agree
    assert row.figures["second"]["accuracy_percent"] == "2.0"


def test_the_same_comparison_sent_again_is_kept_once_and_another_under_its_id_refused(
    workshop: Workshop, technician: Actor
) -> None:
    other, uuid = builders.meter(workshop.organisation, "ammeter"), uuid4()
    once = kept(technician, workshop, other, ("36.3", "35.9"), uuid=uuid)
    assert kept(technician, workshop, other, ("36.30", "35.90"), uuid=uuid) == once
    with pytest.raises(Conflict):
        kept(technician, workshop, other, ("36.4", "35.9"), uuid=uuid)


def refusal(of: Workshop, by: Actor, second: Any, *pairs: tuple[str, str]) -> tuple[Any, ...]:
    with pytest.raises(Refused) as refused:
        compare_meters(by, first=of.ammeter.uuid, second=second, readings=readings(*pairs))
    return refused.value.faults[0].path


def test_what_cannot_be_compared_is_refused_at_its_place(workshop: Workshop, technician: Actor) -> None:
    pair = ("36.3", "35.9")
    assert refusal(workshop, technician, workshop.ammeter.uuid, pair) == ("second",)
    assert refusal(workshop, technician, workshop.voltmeter.uuid, pair) == ("second",)
    foreign = builders.workshop().ammeter.uuid
    name(workshop.organisation)
    assert refusal(workshop, technician, foreign, pair) == ("second",)
    other = builders.meter(workshop.organisation, "ammeter").uuid
    assert refusal(workshop, technician, other, pair, ("36.3", "401")) == ("readings", 1)
    exact = {"accuracy_percent": 0, "accuracy_counts": 0, "resolution": 1}
    with pytest.raises(Refused):
        compare_meters(technician, first=exact, second=exact, readings=readings(("36.3", "35.9")))


def test_a_viewer_may_look_how_two_compare_and_keeps_nothing(workshop: Workshop) -> None:
    viewer = builders.actor(workshop.organisation, Role.VIEWER)
    other = builders.meter(workshop.organisation, "ammeter")
    found = compare_meters(viewer, first=workshop.ammeter.uuid, second=other.uuid, readings=readings(("36.3", "35.9")))
    assert found.agree
    with pytest.raises(NotAllowed):
        kept(viewer, workshop, other, ("36.3", "35.9"))
