"""Requests that arrive together, each on a connection of its own."""

import datetime as dt
from collections import Counter
from functools import partial

import pytest

from accounts.errors import Refused
from inspections.models import Defect, Inspection, Judgement
from inspections.services.record import Recorded
from tests import builders
from tests.accounts.audit_chain import chain_of, first_bad_sequence
from tests.accounts.threads import at_once
from tests.api.writing import sent
from tests.builders import Workshop
from tests.conftest import Api
from tests.inspections.visits import CURRENT_A, due_date, recorded
from tests.naming import name

pytestmark = pytest.mark.committed


TOGETHER = 32


def entries_of(workshop: Workshop) -> Counter[str]:
    """Return how often each deed stands in the organisation's stream, whose chain is whole."""
    entries = chain_of(workshop.organisation)
    assert first_bad_sequence(entries) is None
    assert [entry.sequence for entry in entries] == list(range(1, len(entries) + 1))
    return Counter(f"{entry.action} {entry.object_type}" for entry in entries)


def test_parallel_posts_of_one_inspection_make_one_row(committed_db: None) -> None:
    workshop = builders.workshop()
    builders.check_plan(workshop.installation)
    api = Api(workshop.organisation)
    document = builders.inspection_document(workshop, stage_readings=builders.single_pass(CURRENT_A["fail"]))
    answers = at_once([lambda: api.post("inspections/", document)] * TOGETHER)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 200: TOGETHER - 1}
    assert all(answer.json() == answers[0].json() for answer in answers)
    mine = {"organisation": workshop.organisation}
    name(workshop.organisation)
    assert (Inspection.objects.filter(**mine).count(), Judgement.objects.filter(**mine).count()) == (1, 1)
    assert Defect.objects.filter(**mine).count() == 4
    assert entries_of(workshop)["record inspection"] == 1
    assert due_date(workshop).cycle_began_by == workshop.installation.uuid


def test_of_two_inspections_with_one_key_one_is_stored(committed_db: None) -> None:
    workshop = builders.workshop()
    builders.check_plan(workshop.installation)
    api = Api(workshop.organisation)
    documents = [builders.inspection_document(workshop) for _ in range(2)]
    sendings = [
        partial(sent, api, "post", "inspections/", document, Idempotency_Key='"the same"')
        for document in documents * (TOGETHER // 4)
    ]
    answers = at_once(sendings)
    name(workshop.organisation)
    stored = Inspection.objects.get(organisation=workshop.organisation)
    (kept,) = [document for document in documents if document["id"] == str(stored.uuid)]
    for document, answer in zip(documents * (TOGETHER // 4), answers, strict=True):
        # In progress, or used for the other one; what was stored is answered to every resend of it that got through.
        assert answer.status_code in ({200, 201, 409} if document is kept else {409, 422}), answer.content
        if answer.status_code < 300:
            assert answer.json()["id"] == kept["id"]
    assert entries_of(workshop)["record inspection"] == 1
    assert due_date(workshop).last_check_on == stored.performed_on


def test_of_two_signatures_at_once_one_stands(committed_db: None) -> None:
    workshop = builders.workshop()
    builders.check_plan(workshop.installation)
    signers = [Api(workshop.organisation) for _ in range(2)]
    document = builders.inspection_document(workshop, sign=False)
    assert signers[0].post("inspections/", document).status_code == 201
    answers = at_once([partial(api.post, f"inspections/{document['id']}/sign/", {}) for api in signers * 4])
    assert Counter(answer.status_code for answer in answers) == {200: 1, 409: 7}
    (signed,) = [answer.json() for answer in answers if answer.status_code == 200]
    name(workshop.organisation)
    inspection = Inspection.objects.select_related("signed_by").get(organisation=workshop.organisation)
    assert inspection.signed_by is not None
    assert signed["signed_by"] == inspection.signed_by.username
    assert entries_of(workshop)["sign inspection"] == 1
    assert due_date(workshop).last_check_on == inspection.performed_on


def test_different_visits_at_once_keep_one_chain_without_gaps_and_the_newest_date(committed_db: None) -> None:
    workshop = builders.workshop()
    builders.check_plan(workshop.installation)
    by = builders.actor(workshop.organisation)
    days = range(1, 13)
    at_once([partial(recorded, workshop, f"2026-03-{day:02}T09:30:00Z", by=by) for day in days])
    assert entries_of(workshop)["record inspection"] == len(days)
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
