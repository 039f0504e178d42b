"""Checks that rest on a meter found out of tolerance: judged anew with its error taken out, some at a time."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.roles import Ability
from inspections.calibrations import CORRECTED_BY, corrections_of, looked_back_on, throws_doubt
from inspections.models import Calibration, Inspection, Judgement
from inspections.services.rejudging import Terms, rejudge

# A request is answered while somebody waits; what is left over is a second press away.
AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class JudgedInDoubt:
    """How many were judged anew, how many wait, and how many went from which verdict to which."""

    judged: int
    left: int
    changes: dict[tuple[str, str], int]


def rejudge_in_doubt(
    actor: Actor,
    calibration: Calibration,
    *,
    reason: str,
    gain_percent: Decimal | None = None,
    zero: Decimal | None = None,
) -> JudgedInDoubt:
    """Judge what is in doubt anew with the error as found, or as stated; what was judged so already is left out."""
    actor.require(Ability.MANAGE)
    corrections = found_corrections(calibration, gain_percent=gain_percent, zero=zero)
    waiting = still_in_doubt(calibration, corrections)
    chosen = list(waiting.order_by("-performed_at", "-pk").values_list("pk", flat=True)[:AT_ONCE])
    rows = Inspection.objects.filter(pk__in=chosen)
    report = rejudge(actor, rows, Terms(reason=reason, corrections=corrections))
    return JudgedInDoubt(report.judged, still_in_doubt(calibration, corrections).count(), report.changes)


def found_corrections(
    calibration: Calibration, *, gain_percent: Decimal | None, zero: Decimal | None
) -> dict[str, str]:
    """Return the corrections of an error that was stated, or else of the one that the points as found tell."""
    if not throws_doubt(calibration):
        detail = _("The meter was found in tolerance: nothing that was read with it is in doubt.")
        raise Refused(Fault((), "not_in_doubt", detail))
    if gain_percent is None and zero is None:
        by_points = corrections_of(calibration)
        if not by_points:
            detail = _("Needed: the certificate on file states no values as found.")
            raise Refused(Fault(("gain_percent",), "required", detail))
        return by_points
    gain_key, zero_key = CORRECTED_BY[calibration.meter.kind]
    return {gain_key: str(gain_percent or 0), zero_key: str(zero or 0)}


def still_in_doubt(calibration: Calibration, corrections: Mapping[str, str]) -> QuerySet[Inspection]:
    """Return the checks in doubt that were not judged with these corrections yet."""
    with_them = Judgement.objects.filter(
        inspection=OuterRef("pk"), **{f"corrections__{key}": value for key, value in corrections.items()}
    )
    return looked_back_on(calibration).exclude(Exists(with_them))
