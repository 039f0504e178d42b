"""Find what declines: fit every unit with news, store its trend, and raise, confirm, withdraw or resolve declines.

Trends and declines are a pure function of the evidence and of the meter effects on file, so a night that runs twice
changes nothing, and neither do two at once: a fit is written only for units whose evidence is still what it has seen.
"""

import logging
from dataclasses import dataclass, replace

from django.db.models import Q, Sum
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from inspections.models import TrendChunk, TrendNews
from inspections.services.chunks import HandOut, Part, Tell, forget_finished, share_out
from inspections.services.meter_effects import refresh_meter_effects
from inspections.services.trend_chunks import plan_chunks, units_in
from inspections.services.trend_declines import declines_of_listed, store_declines
from inspections.services.trend_fits import Chosen, Fit, fits_of
from inspections.services.trend_news import note_unfitted, take_off
from inspections.services.trend_rows import store_trends

logger = logging.getLogger(__name__)


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
    share_out(TRENDS, organisation, hand_out=hand_out, tell=tell)
    return replace(_report(organisation), clamps_measured=measured)


def _clamps_measured(organisation: Organisation) -> bool:
    try:
        refresh_meter_effects(organisation)
    except Exception:
        # The effects on file stand, and the units are fitted with them.
        logger.exception("organisation %s: the clamps could not be measured", organisation.pk)
        return False
    return True


def _fit(organisation: Organisation, chunk: TrendChunk) -> None:
    fits = fits_of(organisation, chunk)
    with organisation_transaction(organisation):
        stored = _stored(chunk, fits)
        TrendChunk.objects.filter(pk=chunk.pk, finished_at__isnull=True).update(
            finished_at=timezone.now(), fitted=stored.fitted, declines_changed=stored.declines_changed
        )


def _stored(chunk: TrendChunk, fits: list[Fit]) -> TrendReport:
    """Write what was found of the units that nothing has happened to, and take them off the list."""
    in_range = {"retarder__gte": chunk.first_unit, "retarder__lte": chunk.last_unit}
    listed = TrendNews.objects.filter(organisation=chunk.organisation_id, **in_range).order_by("retarder")
    marks = dict(listed.select_for_update(no_key=True).values_list("retarder", "mark"))
    chosen = [Chosen(fit, fit.units.unmoved(marks)) for fit in fits]
    # By name, not by what the range now lists: a check signed meanwhile may have put another unit there.
    done = [unit for each in chosen for unit in each.fit.units.units[each.places].tolist()]
    if not done:
        return TrendReport(0, 0)
    store_trends(chunk.organisation_id, chosen)
    declines_changed = store_declines(chunk.organisation_id, chosen, declines_of_listed(chunk, done))
    take_off(chunk, done)
    return TrendReport(len(done), declines_changed)


TRENDS = Part(TrendChunk, units_in, _fit)


def _report(organisation: Organisation) -> TrendReport:
    with organisation_transaction(organisation):
        found = TrendChunk.objects.of(organisation).aggregate(
            fitted=Sum("fitted", default=0),
            declines_changed=Sum("declines_changed", default=0),
            failed=Sum("units", default=0, filter=~Q(error="")),
        )
    forget_finished(TrendChunk, organisation)
    return TrendReport(**found)
