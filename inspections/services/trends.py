"""Find what declines: fit every unit with news, store its trend, and raise, confirm, withdraw or resolve declines.

Trends and declines are a pure function of the evidence and of the meter effects on file, so a night that runs twice
changes nothing, and neither do two at once: a fit is written only for units whose evidence is still what it has seen.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from django.db.models import Sum
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.trend import TrendBatch, fit
from inspections.models import Decline, TrendChunk, TrendNews
from inspections.packed import read_rows
from inspections.progress import Progress
from inspections.series import UNIT_COLUMNS, Histories, Units, histories_of
from inspections.services.meter_effects import corrections_of, refresh_meter_effects
from inspections.services.trend_chunks import claim_chunk, forget_finished, open_chunks, plan_chunks, progress_of
from inspections.services.trend_declines import store_declines
from inspections.services.trend_news import note_unfitted
from inspections.services.trend_rows import store_trends

LOOK_AGAIN_AFTER_S = 0.2

_NEWS = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id AND i.removed_on IS NULL
JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
JOIN fleet_retarder r ON r.id = i.retarder_id
JOIN fleet_retardertype k ON k.id = r.retarder_type_id
WHERE n.organisation_id = %s AND n.retarder_id BETWEEN %s AND %s
"""
# The whole history of a unit, wherever it was fitted.
_CHECKS = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id
JOIN inspections_inspection v ON v.installation_id = i.id
WHERE n.organisation_id = %s AND n.retarder_id BETWEEN %s AND %s
AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL
"""

# Hands a chunk to other workers, by organisation and chunk; they need not come.
HandOut = Callable[[int, int], None]
Tell = Callable[[Progress], None]


@dataclass(frozen=True, slots=True)
class TrendReport:
    """How many trends were fitted anew, and how many declines came out otherwise than before."""

    fitted: int
    declines_changed: int


def refresh_trends(
    organisation: Organisation, *, hand_out: HandOut | None = None, tell: Tell | None = None
) -> TrendReport:
    """Fit every unit in service whose evidence has changed since its trend was fitted, alone or with other workers."""
    with organisation_transaction(organisation):
        note_unfitted(organisation)
    refresh_meter_effects(organisation)
    plan_chunks(organisation)
    chunks = open_chunks(organisation)
    if hand_out is not None and len(chunks) > 1:
        for chunk in chunks:
            hand_out(organisation.pk, chunk)
    work_through(organisation, tell)
    return _report(organisation)


def fit_chunk(organisation: Organisation, chunk_id: int) -> bool:
    """Fit one chunk, unless another worker has it, and tell whether this one did."""
    chunk = claim_chunk(organisation, chunk_id)
    if chunk is None:
        return False
    fitted = _fitted(organisation, chunk)
    with organisation_transaction(organisation):
        stored = TrendReport(0, 0) if fitted is None else _stored(chunk, fitted)
        TrendChunk.objects.filter(pk=chunk.pk, finished_at__isnull=True).update(
            finished_at=timezone.now(), fitted=stored.fitted, declines_changed=stored.declines_changed
        )
    return True


@dataclass(frozen=True, slots=True)
class _Fit:
    units: Units
    histories: Histories
    found: TrendBatch


def _fitted(organisation: Organisation, chunk: TrendChunk) -> _Fit | None:
    with organisation_transaction(organisation):
        # The list before the evidence: what changes in between has another mark by the time the fit is written.
        units = Units.of(read_rows(UNIT_COLUMNS, _NEWS, _range(chunk)))
        if not len(units):
            return None
        histories = histories_of(units, _CHECKS, _range(chunk))
        corrections = corrections_of(organisation, histories.clamps)
    return _Fit(units, histories, fit(histories.batch, corrections))


def _stored(chunk: TrendChunk, fitted: _Fit) -> TrendReport:
    """Write what was found of the units that nothing has happened to, and take them off the list."""
    units, organisation = fitted.units, chunk.organisation_id
    in_range = {"retarder__gte": chunk.first_unit, "retarder__lte": chunk.last_unit}
    listed = TrendNews.objects.filter(organisation=organisation, **in_range)
    marks = dict(listed.order_by("retarder").select_for_update().values_list("retarder", "mark"))
    current = units.unmoved(marks)
    if not len(current):
        return TrendReport(0, 0)
    # A chunk is nearly always stored whole: naming the few units left out is shorter than naming the rest.
    left_out = sorted(marks.keys() - set(units.units[current].tolist()))
    store_trends(organisation, units, fitted.found, current)
    episodes = fitted.found.episodes
    declines_changed = store_declines(
        organisation,
        units,
        fitted.histories,
        episodes.where(np.isin(episodes.installation, current)),
        Decline.objects.filter(
            organisation=organisation,
            installation__retarder__trend_news__isnull=False,
            **{f"installation__{name}": value for name, value in in_range.items()},
        ).exclude(installation__retarder__in=left_out),
    )
    listed.exclude(retarder__in=left_out).delete()
    return TrendReport(len(current), declines_changed)


def work_through(organisation: Organisation, tell: Tell | None = None) -> None:
    """Claim chunk after chunk, and then wait for the others', taking over what they let lapse."""
    while chunks := open_chunks(organisation):
        mine = [chunk for chunk in chunks if fit_chunk(organisation, chunk) and _told(organisation, tell)]
        if not mine:
            time.sleep(LOOK_AGAIN_AFTER_S)


def _told(organisation: Organisation, tell: Tell | None) -> bool:
    if tell is not None:
        with organisation_transaction(organisation):
            progress = progress_of(organisation)
        if progress is not None:
            tell(progress)
    return True


def _report(organisation: Organisation) -> TrendReport:
    with organisation_transaction(organisation):
        totals = TrendChunk.objects.of(organisation).aggregate(
            fitted=Sum("fitted", default=0), changed=Sum("declines_changed", default=0)
        )
    forget_finished(organisation)
    return TrendReport(totals["fitted"], totals["changed"])


def _range(chunk: TrendChunk) -> list[int]:
    return [chunk.organisation_id, chunk.first_unit, chunk.last_unit]
