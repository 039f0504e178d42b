"""Equal content has one hash, however it was typed."""

from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest

from accounts.instants import instant
from inspections.documents import content_hash

VISIT: dict[str, Any] = {
    "id": UUID("017f22e2-79b0-4cc3-98c4-dc0c0c07398f"),
    "performed_at": instant("2026-03-02T09:30:00Z"),
    "stage_readings": [{"stage": 1, "energised": [1], "current_a": Decimal("40.1")}],
    "sign": True,
}


def with_reading(**changes: Any) -> dict[str, Any]:
    return {**VISIT, "stage_readings": [{**VISIT["stage_readings"][0], **changes}]}


@pytest.mark.parametrize(
    "equal",
    [
        dict(reversed(VISIT.items())),
        {**VISIT, "id": UUID("017F22E2-79B0-4CC3-98C4-DC0C0C07398F")},
        {**VISIT, "performed_at": instant("2026-03-02T10:30:00+01:00")},
        {**VISIT, "performed_at": instant("2026-03-02T09:30:00.000Z")},
        {**VISIT, "notes": None},
        with_reading(current_a=Decimal("40.10")),
        with_reading(current_a=Decimal("4.01E+1")),
        with_reading(seconds_on=None),
        with_reading(energised=(1,)),
    ],
    ids=lambda value: "equal",
)
def test_equal_content_has_one_hash(equal: dict[str, Any]) -> None:
    assert content_hash(equal) == content_hash(VISIT)


@pytest.mark.parametrize("zero", [Decimal("0"), Decimal("-0.0"), Decimal("0E+3"), 0])
def test_every_zero_is_one_zero(zero: Any) -> None:
    assert content_hash(with_reading(current_a=zero)) == content_hash(with_reading(current_a=Decimal("0.00")))


@pytest.mark.parametrize(
    "other",
    [
        {**VISIT, "performed_at": instant("2026-03-02T09:30:00.000001Z")},
        {**VISIT, "notes": ""},
        {**VISIT, "sign": False},
        with_reading(current_a=Decimal("40.11")),
        with_reading(current_a=Decimal("-40.1")),
        with_reading(outputs_live=[]),
        with_reading(energised=[1, 2]),
    ],
    ids=lambda value: "other",
)
def test_other_content_has_another_hash(other: dict[str, Any]) -> None:
    assert content_hash(other) != content_hash(VISIT)


def test_the_order_of_readings_is_content() -> None:
    one, two = {"stage": 1, "energised": [1]}, {"stage": 2, "energised": [2]}
    assert content_hash({"stage_readings": [one, two]}) != content_hash({"stage_readings": [two, one]})
