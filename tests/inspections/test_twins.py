"""Requests that arrive together, each on a connection of its own."""

import datetime as dt
from collections import Counter
from functools import partial

import pytest

from accounts.errors import Refused
from accounts.models import AuditEntry
from inspections.models import Defect, Inspection, Judgement
from inspections.services.record import Recorded
from tests import builders
from tests.accounts.audit_chain import chain_of, first_bad_sequence
from tests.accounts.threads import at_once
from tests.conftest import Api
from tests.inspections.visits import CURRENT_A, due_date, recorded

pytestmark = pytest.mark.committed


def test_sixteen_parallel_posts_of_one_inspection_make_one_row(committed_db: None) -> None:
    workshop = builders.workshop()
    builders.check_plan(workshop.installation)
    api = Api(workshop.organisation)
    document = builders.inspection_document(workshop, stage_readings=builders.single_pass(CURRENT_A["fail"]))
    answers = at_once([lambda: api.post("inspections/", document)] * 16)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: 15}
    assert all(answer.json() == answers[0].json() for answer in answers)
    mine = {"organisation": workshop.organisation}
    assert (Inspection.objects.filter(**mine).count(), Judgement.objects.filter(**mine).count()) == (1, 1)
    assert Defect.objects.filter(**mine).count() == 4
    assert AuditEntry.objects.filter(**mine, action="record").count() == 1


def test_different_visits_at_once_keep_one_chain_without_gaps_and_the_newest_date(committed_db: None) -> None:
    workshop = builders.workshop()
    builders.check_plan(workshop.installation)
    by = builders.actor(workshop.organisation)
    days = range(1, 13)
    at_once([partial(recorded, workshop, f"2026-03-{day:02}T09:30:00Z", by=by) for day in days])
    entries = chain_of(workshop.organisation)
    assert [entry.sequence for entry in entries] == list(range(1, len(days) + 1))
    assert first_bad_sequence(entries) is None
    assert due_date(workshop).last_check_on == dt.date(2026, 3, 12)


def test_of_two_replacements_at_once_one_wins_and_the_other_is_refused(committed_db: None) -> None:
    workshop = builders.workshop()
    by = builders.actor(workshop.organisation)
    old = recorded(workshop, by=by).inspection
    fields = {"by": by, "supersedes": str(old.uuid), "supersede_reason": "clamp was on the wrong cable"}

    def replace() -> Recorded | Refused:
        try:
            return recorded(workshop, "2026-03-02T10:00:00Z", **fields)
        except Refused as refusal:
            return refusal

    outcomes = at_once([replace] * 4)
    won = [outcome for outcome in outcomes if isinstance(outcome, Recorded)]
    lost = [outcome for outcome in outcomes if isinstance(outcome, Refused)]
    assert (len(won), len(lost)) == (1, 3)
    assert {fault.code for refusal in lost for fault in refusal.faults} == {"already_replaced"}
    old.refresh_from_db()
    assert old.superseded_by == won[0].inspection
    assert Inspection.objects.filter(organisation=workshop.organisation).count() == 2
