"""Checks that rest on a meter found out of tolerance: judged anew with its error taken out, as a set like any other."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Conflict, Fault, Refused
from accounts.models import Organisation
from accounts.roles import Ability
from inspections.calibrations import CORRECTED_BY, corrections_of, throws_doubt
from inspections.corrections import alike
from inspections.models import Calibration, Meter, Rejudging
from inspections.rejudged_sets import Selection, to_be_judged
from inspections.services.rejudging import Terms, faults_of_gain
from inspections.services.rejudging_runs import counted_changes, decided_rejudging, done_if_small


@dataclass(frozen=True, slots=True)
class JudgedInDoubt:
    """How many were judged anew, how many wait for the background, and how many changed verdict and how.

    `run` is the set they were judged as, None where nothing was left to judge.
    """

    run: Rejudging | None
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
    """Judge what is in doubt anew with the error as found, or as stated; what was judged so already is left out.

    A set too large to be waited for is done in the background; asked for again meanwhile, it is the same set.
    """
    actor.require(Ability.MANAGE)
    corrections = found_corrections(calibration, gain_percent=gain_percent, zero=zero)
    # Said here, where the sender's name of it is known; the terms know it by the meter's kind.
    if faults := faults_of_gain(("gain_percent",), corrections[CORRECTED_BY[calibration.meter.kind][0]]):
        raise Refused(*faults)
    run = _one_run(actor, calibration, Terms(reason=reason, corrections=corrections))
    if run is None:
        return JudgedInDoubt(None, 0, 0, {})
    done_if_small(actor, run)
    # Of what was counted, some may have been judged so by another set meanwhile: nothing of it is left.
    left = 0 if run.state == "done" else max(run.total - run.judged, 0)
    return JudgedInDoubt(run, run.judged, left, dict(counted_changes(run)))


def run_in_doubt(organisation: Organisation, calibration: Calibration) -> Rejudging | None:
    """Return the newest set of what a calibration throws doubt on, None where none was asked for yet."""
    asked = Rejudging.objects.of(organisation).filter(selection__calibration=str(calibration.uuid))
    return asked.order_by("pk").last()


@transaction.atomic
def _one_run(actor: Actor, calibration: Calibration, terms: Terms) -> Rejudging | None:
    # Whoever else asks for the same meter's checks waits here, and then finds the set under way.
    Meter.objects.select_for_update(no_key=True).get(pk=calibration.meter_id)
    newest = run_in_doubt(actor.organisation, calibration)
    if newest is not None and newest.state == "storing":
        if newest.terms["corrections"] != terms.corrections:
            raise Conflict(_("These checks are being judged anew with another error just now."))
        return newest
    selection: Selection = {"calibration": str(calibration.uuid)}
    if not to_be_judged(actor.organisation, selection, terms).exists():
        return None
    return decided_rejudging(actor, selection=selection, terms=terms)


def found_corrections(
    calibration: Calibration, *, gain_percent: Decimal | None, zero: Decimal | None
) -> Mapping[str, str]:
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
    return alike({gain_key: gain_percent or Decimal(0), zero_key: zero or Decimal(0)})
