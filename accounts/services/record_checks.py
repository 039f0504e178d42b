"""Checks of the record that somebody asked for: a row of work each, done in the background, its outcome kept."""

from dataclasses import asdict
from typing import Any

from django.utils import timezone

from accounts.actors import Actor, system_actor
from accounts.anchors import Anchor, anchor_of
from accounts.audit import Deed, write_audit
from accounts.audit_check import BadEntry, Checked, check_record
from accounts.canonical import plain
from accounts.models import Organisation, User, WorkRun
from accounts.queries import open_organisations
from accounts.roles import Ability
from accounts.tenancy import organisation_transaction
from accounts.work import claim_work, fail_work, finish_work

JOB = "check_record"


def ask_for_check(actor: Actor) -> WorkRun:
    """Ask for a check of the organisation's record; one that is waiting or under way already is the one."""
    actor.require(Ability.MANAGE)
    window = str(actor.organisation.uuid)
    WorkRun.objects.bulk_create([WorkRun(job=JOB, window=window)], ignore_conflicts=True)
    asked = {"asked_by": actor.user and actor.user.pk}
    over = WorkRun.objects.filter(job=JOB, window=window)
    over.filter(state__in=["done", "failed"]).update(
        state="queued", queued_at=timezone.now(), claimed_at=None, finished_at=None, error=""
    )
    over.filter(state="queued").update(counts=asked)
    return over.get()


def last_check(organisation: Organisation) -> WorkRun | None:
    """Return the organisation's check that was asked for last."""
    return WorkRun.objects.filter(job=JOB, window=str(organisation.uuid)).first()


def run_asked_checks() -> int:
    """Do every check that was asked for and return how many; a claim keeps two workers off one check."""
    asked = set(WorkRun.objects.filter(job=JOB, state__in=["queued", "running"]).values_list("window", flat=True))
    runs = [_run(each) for each in open_organisations() if str(each.uuid) in asked]
    return sum(runs)


def _run(organisation: Organisation) -> bool:
    run = claim_work(JOB, str(organisation.uuid))
    if run is None:
        return False
    try:
        checked = check_record(organisation)
    except Exception as error:
        fail_work(run, f"{type(error).__name__}: {error}")
        raise
    _tell(organisation, checked, run.counts.get("asked_by"))
    finish_work(run, {**run.counts, **plain(asdict(checked))})
    return True


def _tell(organisation: Organisation, checked: Checked, asked_by: int | None) -> None:
    """Write the outcome into the stream itself, so that the checks of the past can be read there."""
    after: dict[str, Any] = {"sequence": checked.sequence, "sound": checked.is_sound}
    if checked.bad is not None:
        after["first_bad"] = checked.bad.sequence
    with organisation_transaction(organisation):
        person = None if asked_by is None else User.objects.filter(pk=asked_by).first()
        actor = system_actor(organisation, source="check", on_behalf_of=person)
        write_audit(actor, [Deed("check", organisation, after=after)])


def bad_entry_of(run: WorkRun) -> BadEntry | None:
    """Return what a check found, None for a sound record."""
    bad = run.counts.get("bad")
    return None if bad is None else BadEntry(**{**bad, "columns": tuple(bad["columns"])})


def anchor_of_run(organisation: Organisation, run: WorkRun | None) -> Anchor | None:
    """Return the head as last checked, None where the last check has found it unsound or is not over."""
    if run is None or run.state != "done" or run.finished_at is None or run.counts.get("bad") is not None:
        return None
    found = {name: run.counts[name] for name in ("sequence", "hash", "merkle_root")}
    return anchor_of(organisation, at=run.finished_at, **found)
