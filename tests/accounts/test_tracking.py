"""Every table says whether its rows are held to their audit entries; what is not, says why."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from django.apps import apps
from django.db import models

from accounts.canonical import digest
from accounts.tracking import (
    IDENTITY_COLUMNS,
    Tracking,
    content,
    content_hash,
    covered_columns,
    object_type,
    tracked_models,
    whole_content,
)
from tests import builders

# Tables of libraries, and why no audit entry vouches for their rows.
OF_LIBRARIES = {
    "admin": "who did what in a site that this service does not serve",
    "auth": "groups and permissions, which this service does not use: roles stand in Member",
    "axes": "sign-ins that failed, forgotten by themselves",
    "contenttypes": "a list of tables that migrations write",
    "knox": "an empty twin of our own tokens",
    "otp_totp": "the secret of a person's second step, which belongs to no organisation",
    "sessions": "an empty twin of our own sessions",
}
ROOMS = {"accounts", "fleet", "schedules", "inspections"}
# What the first rows of each table were hashed over.  Neither a column's removal nor a new one may change their hashes:
# a new table gets its line here, a new column of an old table stands in the table's `tracking` as `later`.
FIRST_COLUMNS: dict[str, str] = json.loads(Path(__file__).with_name("first_columns.json").read_text("utf-8"))
OURS = [model for model in apps.get_models() if model._meta.app_label in ROOMS]


def test_every_table_of_a_library_is_listed_with_a_reason() -> None:
    others = {model._meta.app_label for model in apps.get_models()} - ROOMS
    assert others <= set(OF_LIBRARIES)


@pytest.mark.parametrize("model", OURS, ids=lambda model: model.__name__)
def test_a_table_is_tracked_or_says_why_not(model: type[models.Model]) -> None:
    tracking = getattr(model, "tracking", None)
    assert isinstance(tracking, Tracking)
    if tracking.untracked_because:
        assert not tracking.excluded
        assert model not in tracked_models().values()
        return
    names = {column.name for column in model._meta.concrete_fields}
    assert set(tracking.excluded) <= names
    assert tracking.unspoken <= {column.attname for column in model._meta.concrete_fields}
    assert all(tracking.excluded.values())
    assert "uuid" in names


def test_evidence_and_verdicts_are_covered_to_the_last_column() -> None:
    for name in ("inspection", "extra_reading", "judgement", "calibration", "rating_revision", "defect_step"):
        model = tracked_models()[name]
        left_out = {column.name for column in model._meta.concrete_fields} - {c.name for c in covered_columns(model)}
        assert left_out == {"id", "changed_at"}, name


@pytest.mark.parametrize("name", sorted(tracked_models()))
def test_rows_that_were_hashed_first_keep_their_hashes(name: str) -> None:
    model = tracked_models()[name]
    tracking: Tracking = model.tracking  # type: ignore[attr-defined]
    columns = {column.attname: column for column in covered_columns(model)}
    first = set(FIRST_COLUMNS[name].split())
    assert first | tracking.later == columns.keys()
    assert not first & tracking.later
    assert all(columns[column].null and not columns[column].has_default() for column in tracking.later)


def test_a_later_column_counts_from_the_first_row_that_has_a_value(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    of = builders.organisation()
    row = builders.meter(of, "ammeter", range_max=None)
    before = {name: value for name, value in whole_content(row).items() if name != "range_max"}
    hashed_without = digest({"table": object_type(type(row)), **before})
    assert content_hash(row) != hashed_without
    monkeypatch.setattr(type(row), "tracking", replace(row.tracking, later=frozenset({"range_max"})))
    assert content_hash(row) == hashed_without
    row.range_max = 400
    assert content_hash(row) not in {hashed_without, digest({"table": "meter", **before, "range_max": None})}


def test_a_content_hash_is_the_same_as_set_and_as_stored(db: None) -> None:
    of = builders.organisation()
    set_as_typed = builders.meter(of, "ammeter", accuracy_counts=5, range_max=400)
    assert isinstance(set_as_typed.accuracy_counts, int)
    stored = type(set_as_typed).objects.get(pk=set_as_typed.pk)
    assert content_hash(set_as_typed) == content_hash(stored)
    assert content(stored)["accuracy_counts"] == "5.0"
    assert not content(stored).keys() & IDENTITY_COLUMNS


def test_two_tables_never_share_a_content_hash(db: None) -> None:
    of = builders.organisation()
    assert content_hash(builders.depot(of)) != content_hash(of)
