"""Find what declines: fit every unit with news, store its trend, and raise, confirm, withdraw or resolve declines.

Trends and declines are a pure function of the evidence and of the meter effects on file, so a night that runs twice
changes nothing, and neither do two at once: a fit is written only for units whose evidence is still what it has seen.
"""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

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
from inspections.services.trend_chunks import (
    claim_chunk,
    failed_chunks,
    forget_finished,
    open_chunks,
    plan_chunks,
    progress_of,
    set_aside,
)
from inspections.services.trend_declines import store_declines
from inspections.services.trend_news import note_unfitted
from inspections.services.trend_rows import store_trends

LOOK_AGAIN_AFTER_S = 0.05

logger = logging.getLogger(__name__)

_NEWS = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id AND i.removed_on IS NULL
JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
JOIN fleet_retarder r ON r.id = i.retarder_id
JOIN fleet_retardertype k ON k.id = r.retarder_type_id
WHERE n.organisation_id = %s AND n.retarder_id BETWEEN %s AND %s AND i.retarder_id BETWEEN %s AND %s
"""
# The whole history of a unit, wherever it was fitted.  The range is named for both tables: the server does not conclude
# it from the join, and would read every fitting of the fleet for each chunk of it.
_CHECKS = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id
JOIN inspections_inspection v ON v.installation_id = i.id
WHERE n.organisation_id = %s AND n.retarder_id BETWEEN %s AND %s AND i.retarder_id BETWEEN %s AND %s
AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL
"""

# Hands a chunk to other workers, by organisation and chunk; they need not come.
HandOut = Callable[[int, int], None]
Tell = Callable[[Progress], None]


@dataclass(frozen=True, slots=True)
class TrendReport:
    """How many trends were fitted anew, how many declines came out otherwise than before, and what could not be fitted.

    `failed` counts units; where the clamps could not be measured, they are fitted with the effects on file.
    """

    fitted: int
    declines_changed: int
    failed: int = 0
    clamps_measured: bool = True


def refresh_trends(
    organisation: Organisation, *, hand_out: HandOut | None = None, tell: Tell | None = None
) -> TrendReport:
    """Fit every unit in service whose evidence has changed since its trend was fitted, alone or with other workers."""
    with organisation_transaction(organisation):
        note_unfitted(organisation)
    measured = _clamps_measured(organisation)
    plan_chunks(organisation)
    chunks = open_chunks(organisation)
    if hand_out is not None and len(chunks) > 1:
        _hand_out_all(organisation, chunks, hand_out)
    work_through(organisation, tell)
    return replace(_report(organisation), clamps_measured=measured)


def _hand_out_all(organisation: Organisation, chunks: list[int], hand_out: HandOut) -> None:
    try:
        for chunk in chunks:
            hand_out(organisation.pk, chunk)
    except Exception:
        # The others need not come: what nobody else takes on is done here.
        logger.exception("organisation %s: no other worker could be asked to help", organisation.pk)


def _clamps_measured(organisation: Organisation) -> bool:
    try:
        refresh_meter_effects(organisation)
    except Exception:
        # The effects on file stand, and the units are fitted with them.
        logger.exception("organisation %s: the clamps could not be measured", organisation.pk)
        return False
    return True


def fit_chunk(organisation: Organisation, chunk_id: int) -> bool:
    """Take on one chunk, unless another worker has it, and tell whether this one did; what fails is set aside."""
    chunk = claim_chunk(organisation, chunk_id)
    if chunk is None:
        return False
    try:
        _fit_claimed(organisation, chunk)
    except Exception as error:
        # One unit that cannot be fitted keeps no other from it: the error stands in the log and in the chunk.
        logger.exception("organisation %s: %s could not be fitted", organisation.pk, chunk)
        set_aside(organisation, chunk, error)
    return True


def _fit_claimed(organisation: Organisation, chunk: TrendChunk) -> None:
    fitted = _fitted(organisation, chunk)
    with organisation_transaction(organisation):
        stored = TrendReport(0, 0) if fitted is None else _stored(chunk, fitted)
        TrendChunk.objects.filter(pk=chunk.pk, finished_at__isnull=True).update(
            finished_at=timezone.now(), fitted=stored.fitted, declines_changed=stored.declines_changed
        )


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
    marks = dict(listed.order_by("retarder").select_for_update(no_key=True).values_list("retarder", "mark"))
    current = units.unmoved(marks)
    if not len(current):
        return TrendReport(0, 0)
    # By name, not by what the range now lists: a check signed meanwhile may have put another unit there.
    done = units.units[current].tolist()
    store_trends(organisation, units, fitted.found, current)
    episodes = fitted.found.episodes
    declines_changed = store_declines(
        organisation,
        units,
        fitted.histories,
        episodes.where(np.isin(episodes.installation, current)),
        Decline.objects.filter(
            organisation=organisation,
            installation__retarder__in=done,
            **{f"installation__{name}": value for name, value in in_range.items()},
        ),
    )
    listed.filter(retarder__in=done).delete()
    return TrendReport(len(current), declines_changed)


def work_through(organisation: Organisation, tell: Tell | None = None) -> None:
    """Claim chunk after chunk, and then wait for the others', taking over what they let lapse.

    They are listed anew after each: of one that was cut in two the first half comes next, down to the unit that is the
    cause, so that what fails everywhere shows after a few attempts.
    """
    while chunks := open_chunks(organisation):
        if any(fit_chunk(organisation, chunk) for chunk in chunks):
            _report_progress(organisation, tell)
        else:
            time.sleep(LOOK_AGAIN_AFTER_S)


def _report_progress(organisation: Organisation, tell: Tell | None) -> None:
    if tell is not None:
        with organisation_transaction(organisation):
            progress = progress_of(organisation)
        if progress is not None:
            tell(progress)


def _report(organisation: Organisation) -> TrendReport:
    with organisation_transaction(organisation):
        totals = TrendChunk.objects.of(organisation).aggregate(
            fitted=Sum("fitted", default=0), changed=Sum("declines_changed", default=0)
        )
        failed = failed_chunks(organisation).aggregate(units=Sum("units", default=0))
    forget_finished(organisation)
    return TrendReport(totals["fitted"], totals["changed"], failed["units"])


def _range(chunk: TrendChunk) -> list[int]:
    return [chunk.organisation_id, *2 * (chunk.first_unit, chunk.last_unit)]
