"""The reference voltage of a rating is stated, assumed by name, or unknown: never taken from the system voltage."""

from typing import Any

import pytest
from django.db.utils import IntegrityError

from fleet.models import RatingRevision
from inspections.evidence import rating_of
from tests import builders
from tests.accounts.constraints import assert_refused_by
from tests.builders import Workshop
from tests.inspections.visits import recorded

BASIS = "rating_reference_voltage_has_its_basis"


def stored(**figures: Any) -> RatingRevision:
    return builders.retarder_type(builders.organisation(), **figures).revisions.get()


@pytest.mark.parametrize(
    ("basis", "reference_voltage_v"),
    [
        ("unknown", 12.0),
        ("unknown", 14.0),
        ("stated", 0.0),
        ("stated", -12.0),
        ("assumed_running", 12.0),
        ("assumed_running", 24.0),
        ("assumed_running", 13.9),
        ("", 12.0),
        ("", None),
    ],
)
def test_a_reference_voltage_without_a_basis_that_fits_is_refused(
    db: None, basis: str, reference_voltage_v: float | None
) -> None:
    changes = {"number": 2, "reference_voltage_basis": basis, "reference_voltage_v": reference_voltage_v}
    assert_refused_by(BASIS, stored(), changes)


@pytest.mark.parametrize("basis", ["stated", "assumed_running"])
def test_a_basis_without_its_voltage_is_refused(db: None, basis: str) -> None:
    assert_refused_by(BASIS, stored(), {"number": 2, "reference_voltage_basis": basis, "reference_voltage_v": None})


@pytest.mark.parametrize("reference_voltage_v", [14.0, 28.0])
def test_a_running_voltage_may_be_assumed_by_name(db: None, reference_voltage_v: float) -> None:
    row = stored(reference_voltage_basis="assumed_running", reference_voltage_v=reference_voltage_v)
    assert rating_of(row).reference_voltage_v == reference_voltage_v


def test_neither_voltage_nor_basis_has_a_default(db: None) -> None:
    row = stored()
    figures = {
        field.attname: getattr(row, field.attname)
        for field in RatingRevision._meta.concrete_fields
        if field.name not in ("id", "uuid", "number", "reference_voltage_v", "reference_voltage_basis")
    }
    fresh = RatingRevision(number=2, **figures)
    assert (fresh.reference_voltage_v, fresh.reference_voltage_basis) == (None, "")
    with pytest.raises(IntegrityError, match=BASIS):
        fresh.save()


@pytest.mark.parametrize("system_voltage_v", [12, 24])
def test_an_unknown_reference_voltage_is_not_taken_from_the_system_voltage(db: None, system_voltage_v: int) -> None:
    owner = builders.organisation()
    kind = builders.retarder_type(
        owner, reference_voltage_v=None, reference_voltage_basis="unknown", system_voltage_v=system_voltage_v
    )
    unit = builders.installation(owner, retarder_type=kind)
    of = Workshop(owner, unit, builders.meter(owner, "ammeter"), builders.meter(owner, "voltmeter"))
    first = recorded(of)
    assert first.inspection.verdict == "undetermined"
    for stage in first.result["stages"]:
        assert stage["undetermined_reason"] == "reference_voltage_unknown"
        assert (stage["normalised_current_a"], stage["lower_limit_a"], stage["capability"]) == (None, None, None)
