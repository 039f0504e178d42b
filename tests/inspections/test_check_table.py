"""Histories of very different lengths in one chunk: no array is made as long as the longest for all of them."""

from typing import Any
from uuid import uuid4

import numpy as np
import pytest

from calc.trend import fit
from inspections import series
from inspections.check_table import MOST_PLACES, SHORT_HISTORY, groups_alike
from inspections.models import Inspection
from inspections.services import trend_fits
from inspections.services.trends import refresh_trends
from tests.builders import Workshop
from tests.inspections.losing_fleet import QUARTER, found_in, losing_fleet

LONG = 70


def lengthened(fleet: Workshop) -> Workshop:
    """Give the first unit of a fleet many more checks, the newest and some quarters before it."""
    rows = list(Inspection.objects.filter(installation=fleet.installation).order_by("performed_at"))
    fields = {field.attname: getattr(rows[-1], field.attname) for field in Inspection._meta.concrete_fields}
    for visit in range(1, LONG + 1):
        at = rows[-1].performed_at + visit * QUARTER / 10
        own = {"id": None, "uuid": uuid4(), "performed_at": at, "performed_on": at.date(), "level_1": 9_990 + visit % 7}
        rows.append(Inspection(**{**fields, **own}))
    Inspection.objects.bulk_create(rows[-LONG:])
    return fleet


def test_one_long_history_lengthens_no_others_and_changes_no_figure(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    apart, together = lengthened(losing_fleet(6)), lengthened(losing_fleet(6))
    shapes: list[tuple[int, ...]] = []

    def fit_measured(batch: Any, *corrections: Any) -> Any:
        shapes.append(batch.levels_percent.shape)
        return fit(batch, *corrections)

    monkeypatch.setattr(trend_fits, "fit", fit_measured)
    assert refresh_trends(apart.organisation).fitted == 6
    assert sorted(shapes) == [(9, 4, 5), (9 + LONG, 4, 1)]
    monkeypatch.setattr(series, "groups_alike", lambda visits: [np.arange(len(visits))])
    assert refresh_trends(together.organisation).fitted == 6
    assert shapes[2:] == [(9 + LONG, 4, 6)]
    assert found_in(apart.organisation) == found_in(together.organisation)


@pytest.mark.parametrize("longest", [3, 40, 3_000, 400_000])
def test_groups_hold_every_unit_once_and_little_more_than_its_checks(longest: int) -> None:
    visits = np.random.default_rng(longest).integers(0, 30, 10_000)
    visits[5_000] = longest
    groups = list(groups_alike(visits))
    assert sorted(np.concatenate(groups).tolist()) == list(range(len(visits)))
    places = [int(visits[group].max()) * len(group) for group in groups]
    assert sum(places) <= 2 * visits.sum() + SHORT_HISTORY * len(visits)
    assert max(places) <= max(MOST_PLACES, longest)
