"""Sets judged anew as work: asked for with a choice and terms, compared first, stored when somebody decides so.

A small set is done while the request waits, a large one in the background, chunk by chunk.  A chunk is one transaction
that also moves the mark up to which the set is done, so a runner that dies loses no more than its last chunk, and two
runners never do the same one: the second finds the mark moved.
"""

import datetime as dt
import logging
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Count, Max, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor, system_actor
from accounts.canonical import digest, plain
from accounts.errors import Conflict, Fault, Refused
from accounts.models import Organisation
from accounts.queries import open_organisations
from accounts.roles import Ability
from accounts.tenancy import organisation_transaction
from inspections.corrections import alike
from inspections.models import Meter, RejudgedVerdict, Rejudging
from inspections.rejudged_sets import NAMED, Selection, to_be_judged
from inspections.services.assess import unknown_id
from inspections.services.rejudging import CHUNK, Terms, chunk_compared, chunk_judged_anew, faults_of_terms

# So many are done while somebody waits for the answer.
AT_ONCE = 200
# A runner that died holds its claim no longer than this; it renews it with every chunk.
CLAIM_LAPSES_AFTER = dt.timedelta(minutes=10)
UNDER_WAY = ("comparing", "storing")

logger = logging.getLogger(__name__)


def ask_rejudging(
    actor: Actor, *, selection: Selection, terms: Terms, uuid: UUID | None = None
) -> tuple[Rejudging, bool]:
    """Ask what judging a set anew would change, and return the row and whether this call made it.

    Nothing is stored but the question and, once it is worked out, the answer.  The same id with the same content again
    asks nothing; with other content it is a Conflict.
    """
    actor.require(Ability.MANAGE)
    selection = _named(selection)
    asked = {"selection": selection, "terms": plain(asdict(terms))}
    known = None if uuid is None else Rejudging.objects.of(actor.organisation).filter(uuid=uuid).first()
    if known is not None:
        if known.content_hash != digest(asked):
            raise Conflict(_("The judging anew %(id)s is stored with other content.") % {"id": uuid})
        return known, False
    row = _asked_row(actor, selection, terms, {"uuid": uuid} if uuid else {}, digest(asked))
    return done_if_small(actor, row), True


def judge_anew_at_once(actor: Actor, *, selection: Selection, terms: Terms) -> Rejudging:
    """Store new judgements of a set beside the old without comparing first, for what was decided already."""
    return done_if_small(actor, decided_rejudging(actor, selection=selection, terms=terms))


def decided_rejudging(actor: Actor, *, selection: Selection, terms: Terms) -> Rejudging:
    """Write down that a set is judged anew and stored without comparing first; whoever runs it next does it."""
    actor.require(Ability.MANAGE)
    selection = _named(selection)
    content_hash = digest({"selection": selection, "terms": plain(asdict(terms))})
    return _asked_row(actor, selection, terms, {"state": "storing"}, content_hash)


def done_if_small(actor: Actor, row: Rejudging) -> Rejudging:
    """Do a set that is small enough to be waited for; a large one is left to the background."""
    if row.total <= AT_ONCE:
        run_rejudging(actor.organisation, row)
    return row


def _named(selection: Selection) -> dict[str, Any]:
    named: dict[str, Any] = plain({name: value for name, value in selection.items() if value not in (None, "")})
    return named


def _asked_row(
    actor: Actor, selection: Selection, terms: Terms, columns: Mapping[str, Any], content_hash: str
) -> Rejudging:
    faults = _faults_of_selection(actor.organisation, selection)
    faults += faults_of_terms(terms, _kind(actor, selection))
    if faults:
        raise Refused(*faults)
    terms = replace(terms, corrections=alike(terms.corrections))
    rows = to_be_judged(actor.organisation, selection, terms)
    found = rows.aggregate(total=Count("pk"), up_to=Max("pk"))
    if not found["total"]:
        in_doubt = "calibration" in selection and terms.only_correct
        judged_so = _("No check fits this choice, or each stands on this error already.")
        raise Refused(Fault(("selection",), "empty", judged_so if in_doubt else _("No check fits this choice.")))
    kept = asdict(terms)
    return Rejudging.objects.create(
        organisation=actor.organisation,
        selection=selection,
        reason=kept.pop("reason"),
        terms=plain(kept),
        content_hash=content_hash,
        requested_by=actor.user,
        requested_at=timezone.now(),
        **found,
        **columns,
    )


def _faults_of_selection(organisation: Organisation, selection: Selection) -> list[Fault]:
    return [
        unknown_id(("selection", name), selection[name])
        for name, table in NAMED.items()
        if name in selection and not _is_known(organisation, table, selection[name])
    ]


def _is_known(organisation: Organisation, table: Any, uuid: str) -> bool:
    return bool(table.objects.of(organisation).filter(uuid=uuid).exists())


def _kind(actor: Actor, selection: Selection) -> str | None:
    meters = Meter.objects.of(actor.organisation)
    if "calibration" in selection:
        meters = meters.filter(calibrations__uuid=selection["calibration"])
    elif "meter" in selection:
        meters = meters.filter(uuid=selection["meter"])
    else:
        return None
    return meters.values_list("kind", flat=True).first()


def store_rejudging(actor: Actor, row: Rejudging) -> Rejudging:
    """Decide that what was compared is stored as new judgements beside the old; deciding it twice changes nothing."""
    actor.require(Ability.MANAGE)
    decided = Rejudging.objects.of(actor.organisation).filter(pk=row.pk, state="compared")
    fresh = {"state": "storing", "done_to": 0, "judged": 0, "claimed_at": None, "finished_at": None}
    decided.update(**fresh, requested_by=actor.user, changed_at=timezone.now())
    row.refresh_from_db()
    if row.state == "comparing":
        raise Conflict(_("It is still being compared; what would change is not known yet."))
    return done_if_small(actor, row)


def run_asked_rejudgings() -> int:
    """Go on with every set that is under way and that nobody holds, and return how many were gone on with.

    One that fails keeps no other from it; it is tried again once its claim has lapsed.
    """
    ran = 0
    for organisation in open_organisations():
        with organisation_transaction(organisation):
            rows = list(Rejudging.objects.of(organisation).filter(state__in=UNDER_WAY).order_by("pk"))
        ran += sum(_gone_on_with(organisation, row) for row in rows)
    return ran


def _gone_on_with(organisation: Organisation, row: Rejudging) -> bool:
    try:
        return run_rejudging(organisation, row)
    except Exception as error:
        logger.exception("organisation %s: the set %s could not be judged anew", organisation.pk, row.uuid)
        with organisation_transaction(organisation):
            Rejudging.objects.filter(pk=row.pk, state__in=UNDER_WAY).update(error=f"{type(error).__name__}: {error}")
        return False


def run_rejudging(organisation: Organisation, row: Rejudging) -> bool:
    """Do what is left of an organisation's set; false where another runner holds it."""
    with organisation_transaction(organisation):
        claimed = _claimed(row)
    if not claimed:
        return False
    while _one_chunk(organisation, row):
        pass
    with organisation_transaction(organisation):
        row.refresh_from_db()
    return True


def _claimed(row: Rejudging) -> bool:
    now = timezone.now()
    free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
    claimed = Rejudging.objects.filter(free, pk=row.pk, state__in=UNDER_WAY).update(claimed_at=now)
    row.refresh_from_db()
    return bool(claimed)


def _one_chunk(organisation: Organisation, row: Rejudging) -> bool:
    """Do the next chunk, and tell whether there may be another."""
    with organisation_transaction(organisation), transaction.atomic():
        rows = to_be_judged(organisation, row.selection, terms_of(row))
        left = rows.filter(pk__gt=row.done_to, pk__lte=row.up_to).order_by("pk")
        ids = list(left.values_list("pk", flat=True)[:CHUNK])
        if not _moved(row, ids):
            row.refresh_from_db()
            return False
        if ids:
            _do(organisation, row, ids)
    return bool(ids)


def _moved(row: Rejudging, ids: list[int]) -> bool:
    """Move the mark past the chunk, unless another runner has taken the set over: then its mark is another."""
    now = timezone.now()
    columns: dict[str, Any] = (
        {"claimed_at": now, "done_to": ids[-1], "judged": row.judged + len(ids)}
        if ids
        else {
            "state": "compared" if row.state == "comparing" else "done",
            "claimed_at": None,
            "finished_at": now,
        }
    )
    held = Rejudging.objects.filter(pk=row.pk, state=row.state, claimed_at=row.claimed_at, done_to=row.done_to)
    if not held.update(**columns, error="", changed_at=now):
        return False
    for name, value in columns.items():
        setattr(row, name, value)
    return True


def _do(organisation: Organisation, row: Rejudging, ids: list[int]) -> None:
    terms = terms_of(row)
    if row.state == "comparing":
        _keep(row, chunk_compared(ids, terms))
        return
    # What was compared has done its service: from here on the report says what was stored.
    RejudgedVerdict.objects.filter(rejudging=row, inspection__in=ids).delete()
    actor = system_actor(organisation, source="command", on_behalf_of=row.requested_by)
    _keep(row, chunk_judged_anew(actor, ids, terms, by=row.requested_by))


def _keep(row: Rejudging, changes: Mapping[int, tuple[str, str]]) -> None:
    RejudgedVerdict.objects.bulk_create(
        RejudgedVerdict(
            organisation_id=row.organisation_id,
            rejudging=row,
            inspection_id=inspection,
            verdict_before=before,
            verdict_after=after,
        )
        for inspection, (before, after) in changes.items()
    )


def terms_of(row: Rejudging) -> Terms:
    """Return under what a set is judged anew."""
    kept = dict(row.terms)
    for name in ("max_false_accept_probability", "tolerance_lower_percent", "tolerance_upper_percent"):
        kept[name] = None if kept.get(name) is None else float(kept[name])
    return Terms(reason=row.reason, **kept)


def counted_changes(row: Rejudging) -> Counter[tuple[str, str]]:
    """Return how many checks go from which verdict to which."""
    pairs = RejudgedVerdict.objects.filter(rejudging=row).order_by().values("verdict_before", "verdict_after")
    return Counter({(p["verdict_before"], p["verdict_after"]): p["n"] for p in pairs.annotate(n=Count("pk"))})
