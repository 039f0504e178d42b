"""Find what declines: fit every unit with news, store its trend, and raise, confirm, withdraw or resolve declines.

Trends and declines are a pure function of the evidence, so a night that runs twice changes nothing.
"""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.audit import plain
from accounts.models import Organisation
from calc.trend import (
    ATTRIBUTIONS,
    ENDINGS,
    METHOD,
    METHOD_VERSION,
    Corrections,
    TrendBatch,
    fit,
    meter_effects,
    trend_of,
)
from calc.trend.episodes import NEVER
from inspections.models import Decline, Inspection, Trend
from inspections.series import Histories, histories_of
from schedules.queries import installations_in_service

TREND_COLUMNS = ["stages", "attribution", "next_check_on", "fitted_to", "method", "method_version"]
DECLINE_COLUMNS = ["rising", "state", "raised_at", "ended_at", "reason"]
SERIES_CHANGED = "series_changed"


@dataclass(frozen=True, slots=True)
class TrendReport:
    """How many trends were fitted anew, and how many declines came out otherwise than before."""

    fitted: int
    declines_changed: int


@transaction.atomic
def refresh_trends(organisation: Organisation) -> TrendReport:
    """Fit every unit in service whose evidence has changed since its trend was fitted."""
    installations = list(
        installations_in_service(organisation).select_related("retarder__retarder_type").order_by("pk")
    )
    # Most nights bring no news: the evidence itself is read only where they do.
    digests = _digests(_visits(organisation).defer("evidence"))
    stored = dict(Trend.objects.of(organisation).values_list("installation", "fitted_to"))
    news = [each for each in installations if stored.get(each.pk) != digests.get(each.retarder_id)]
    if not news:
        return TrendReport(0, 0)
    # The meters are measured against each other over the whole organisation, whoever has news.
    histories = histories_of(installations, _visits(organisation))
    found = fit(histories.batch, _corrections(histories))
    _store_trends(histories, found, digests)
    return TrendReport(len(news), _store_declines(histories, found))


def _visits(organisation: Organisation) -> QuerySet[Inspection]:
    return (
        Inspection.objects.of(organisation)
        .filter(superseded_by__isnull=True, signed_at__isnull=False)
        .select_related("installation", "rating_revision")
        .order_by("performed_at", "pk")
    )


def _digests(visits: Iterable[Inspection]) -> dict[int, str]:
    parts: dict[int, Any] = defaultdict(hashlib.sha256)
    for visit in visits:
        known = f"{visit.uuid} {visit.method_version} {visit.rating_revision_id} {visit.verdict} "
        levels = " ".join(str(getattr(visit, f"level_{stage}")) for stage in range(1, 9))
        parts[visit.installation.retarder_id].update((METHOD_VERSION + known + levels).encode())
    return {unit: digest.hexdigest() for unit, digest in parts.items()}


def _corrections(histories: Histories) -> Corrections | None:
    """Return what the clamps read apart from each other, None where no visit can tell."""
    batch = histories.batch
    read = np.isfinite(batch.levels_percent)
    stages_read = read.sum(axis=1)
    visit, unit = np.nonzero(np.isfinite(batch.years) & (stages_read > 0) & batch.temperature_known)
    if not len(visit):
        return None
    stages_read = np.maximum(stages_read, 1)
    common = np.where(read, batch.levels_percent, 0.0).sum(axis=1) / stages_read - 100.0
    own_variance = np.where(read, batch.u_own_percent**2, 0.0).sum(axis=1) / stages_read**2
    baselines = np.stack([unit, np.cumsum(batch.repaired, axis=0)[visit, unit]])
    numbers, baseline = np.unique(baselines, axis=1, return_inverse=True)
    effects = meter_effects(
        baseline,
        batch.meters[visit, unit],
        batch.years[visit, unit],
        common[visit, unit],
        own_variance[visit, unit] + batch.u_shared_percent[visit, unit] ** 2,
        units=numbers.shape[1],
        meters=len(histories.clamps),
    )
    return Corrections.of(effects)


def _store_trends(histories: Histories, found: TrendBatch, digests: Mapping[int, str]) -> None:
    now = timezone.now()
    rows = []
    for column, installation in enumerate(histories.installations):
        trend = trend_of(found, column, installation.retarder.retarder_type.stages)
        rows.append(
            Trend(
                organisation_id=installation.organisation_id,
                installation=installation,
                stages=[_plain_stage(asdict(stage)) for stage in trend.stages],
                attribution=trend.attribution,
                next_check_on=trend.next_check_on,
                fitted_to=digests[installation.retarder_id],
                method=METHOD,
                method_version=METHOD_VERSION,
                changed_at=now,
            )
        )
    before = {row.installation_id: row for row in Trend.objects.filter(installation__in=histories.installations)}
    changed = [row for row in rows if _differs(row, before.get(row.installation_id), TREND_COLUMNS)]
    Trend.objects.bulk_create(
        changed,
        update_conflicts=True,
        unique_fields=["installation"],
        update_fields=[*TREND_COLUMNS, "changed_at"],
        batch_size=500,
    )


def _plain_stage(stage: dict[str, Any]) -> dict[str, Any]:
    return {key: value if isinstance(value, float) else plain(value) for key, value in stage.items()}


def _differs(row: Trend | Decline, stored: Trend | Decline | None, columns: Sequence[str]) -> bool:
    return stored is None or any(getattr(row, column) != getattr(stored, column) for column in columns)


def _store_declines(histories: Histories, found: TrendBatch) -> int:
    now = timezone.now()
    rows = {_key(row): row for row in _declines(histories, found)}
    stored = {
        _key(row): row for row in Decline.objects.select_for_update().filter(installation__in=histories.installations)
    }
    fresh = [row for key, row in rows.items() if key not in stored]
    changed = [_moved_on(stored[key], row) for key, row in rows.items() if key in stored]
    gone = [_withdrawn(row) for key, row in stored.items() if key not in rows and row.reason != SERIES_CHANGED]
    updated = [row for row in [*changed, *gone] if row is not None]
    for row in updated:
        row.changed_at = now
    Decline.objects.bulk_create(fresh, batch_size=500)
    Decline.objects.bulk_update(updated, [*DECLINE_COLUMNS, "changed_at"], batch_size=500)
    return len(fresh) + len(updated)


def _key(row: Decline) -> tuple[int, int, str, int | None]:
    return row.installation_id, row.raised_by_id, row.attribution, row.stage


def _moved_on(stored: Decline, row: Decline) -> Decline | None:
    if not _differs(row, stored, DECLINE_COLUMNS):
        return None
    for column in DECLINE_COLUMNS:
        setattr(stored, column, getattr(row, column))
    return stored


def _withdrawn(row: Decline) -> Decline:
    """Withdraw what the evidence as it stands no longer says: late, replaced or re-judged visits have changed it."""
    row.state, row.reason, row.ended_at = "withdrawn", SERIES_CHANGED, timezone.now()
    return row


def _declines(histories: Histories, found: TrendBatch) -> Iterable[Decline]:
    episodes = found.episodes
    columns = (episodes.installation, episodes.attribution, episodes.stage, episodes.rising)
    ends = (episodes.raised, episodes.ended, episodes.ending)
    rows = zip(*(each.tolist() for each in (*columns, *ends)), episodes.state, strict=True)
    for column, attribution, stage, rising, raised, ended, ending, state in rows:
        history = histories.visits[column]
        yield Decline(
            organisation_id=histories.installations[column].organisation_id,
            installation=histories.installations[column],
            raised_by=history[raised],
            attribution=ATTRIBUTIONS[attribution],
            stage=stage or None,
            rising=rising,
            state=state,
            raised_at=history[raised].performed_at,
            ended_at=None if ended == NEVER else history[ended].performed_at,
            reason="" if ENDINGS[ending] == "open" else ENDINGS[ending],
        )
