"""Sets judged anew as work: compared without storing, stored beside the old, gone on with after a runner's death."""

import datetime as dt
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from accounts.actors import Actor
from accounts.errors import Conflict, NotAllowed, Refused
from accounts.models import AuditEntry
from accounts.roles import Role
from inspections.models import Defect, Inspection, Judgement, RejudgedVerdict, Rejudging
from inspections.services import rejudging, rejudging_runs
from inspections.services.judging import full_result
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import (
    ask_rejudging,
    counted_changes,
    run_asked_rejudgings,
    run_rejudging,
    store_rejudging,
)
from schedules.services.settling import settle_changed_due_date
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import due_date, recorded
from tests.naming import name, nameless

GAIN = {"ammeter_gain_percent": "25"}


@pytest.fixture
def manager(workshop: Workshop) -> Actor:
    return builders.actor(workshop.organisation, Role.MANAGER)


@pytest.fixture
def waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every set wait for the background, and each chunk hold one check."""
    monkeypatch.setattr(rejudging_runs, "AT_ONCE", 0)
    monkeypatch.setattr(rejudging_runs, "CHUNK", 1)


def clamp_high(workshop: Workshop, manager: Actor, **given: Any) -> Rejudging:
    selection = {"meter": str(workshop.ammeter.uuid)}
    terms = Terms(reason="clamp found reading high", corrections=GAIN)
    return ask_rejudging(manager, selection=selection, terms=terms, **given)[0]


def numbers(workshop: Workshop) -> list[int]:
    rows = Judgement.objects.filter(organisation=workshop.organisation)
    return list(rows.order_by("inspection", "number").values_list("number", flat=True))


def test_what_would_change_is_told_and_nothing_is_stored(workshop: Workshop, manager: Actor) -> None:
    check = recorded(workshop).inspection
    row = clamp_high(workshop, manager)
    assert (row.state, row.judged, row.total) == ("compared", 1, 1)
    assert counted_changes(row) == {("pass", "fail"): 1}
    assert RejudgedVerdict.objects.get(rejudging=row).inspection == check
    check.refresh_from_db()
    assert (check.verdict, numbers(workshop)) == ("pass", [1])


def test_stored_the_new_judgement_stands_beside_the_old_as_it_was_compared(workshop: Workshop, manager: Actor) -> None:
    check = recorded(workshop).inspection
    row = store_rejudging(manager, clamp_high(workshop, manager))
    assert (row.state, counted_changes(row)) == ("done", {("pass", "fail"): 1})
    check.refresh_from_db()
    assert (check.verdict, numbers(workshop)) == ("fail", [1, 2])
    second = Judgement.objects.get(inspection=check, number=2)
    assert (second.reason, second.judged_by, second.corrections) == (row.reason, manager.user, GAIN)
    entry = AuditEntry.objects.filter(action="rejudge", organisation=workshop.organisation).latest("sequence")
    assert (entry.on_behalf_of, entry.reason) == (manager.user, row.reason)


def test_storing_twice_stores_once(workshop: Workshop, manager: Actor) -> None:
    recorded(workshop)
    row = clamp_high(workshop, manager)
    for _time in range(2):
        store_rejudging(manager, row)
    assert numbers(workshop) == [1, 2]


def test_the_same_id_asks_once_and_with_other_content_is_refused(workshop: Workshop, manager: Actor) -> None:
    recorded(workshop)
    uuid = uuid4()
    assert clamp_high(workshop, manager, uuid=uuid) == clamp_high(workshop, manager, uuid=uuid)
    with pytest.raises(Conflict):
        ask_rejudging(manager, selection={}, terms=Terms(reason="other"), uuid=uuid)
    assert Rejudging.objects.filter(organisation=workshop.organisation).count() == 1


def test_a_runner_that_dies_between_chunks_loses_nothing_and_nothing_is_judged_twice(
    workshop: Workshop, manager: Actor, waiting: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in (2, 3, 4):
        recorded(workshop, performed_at=f"2026-03-0{day}T09:30:00Z")
    row = clamp_high(workshop, manager)
    assert run_asked_rejudgings() == 1
    row.refresh_from_db()
    store_rejudging(manager, row)
    whole = rejudging.chunk_judged_anew
    done: list[int] = []

    def dies_at_the_second(*args: Any, **kwargs: Any) -> Any:
        done.append(1)
        if len(done) == 2:
            raise MemoryError
        return whole(*args, **kwargs)

    monkeypatch.setattr(rejudging_runs, "chunk_judged_anew", dies_at_the_second)
    with pytest.raises(MemoryError):
        run_rejudging(workshop.organisation, row)
    stored = Rejudging.objects.get(pk=row.pk)
    assert (stored.state, stored.judged, numbers(workshop)) == ("storing", 1, [1, 2, 1, 1])
    # Its claim holds for some minutes; then another goes on where it stopped.
    assert run_rejudging(workshop.organisation, Rejudging.objects.get(pk=row.pk)) is False
    lapsed = timezone.now() - rejudging_runs.CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)
    Rejudging.objects.filter(pk=row.pk).update(claimed_at=lapsed)
    assert run_asked_rejudgings() == 1
    stored.refresh_from_db()
    assert (stored.state, stored.judged, numbers(workshop)) == ("done", 3, [1, 2, 1, 2, 1, 2])
    assert counted_changes(stored) == {("pass", "fail"): 3}
    assert run_asked_rejudgings() == 0


def test_a_set_that_fails_says_so_keeps_no_other_from_it_and_goes_on_later(
    workshop: Workshop,
    manager: Actor,
    waiting: None,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    client: Client,
) -> None:
    recorded(workshop)
    failing, other = clamp_high(workshop, manager), clamp_high(workshop, manager)
    whole, runs = rejudging.chunk_compared, iter([True, False, False])

    def fails_at_first(*args: Any) -> Any:
        if next(runs):
            raise ArithmeticError("no figure")
        return whole(*args)

    monkeypatch.setattr(rejudging_runs, "chunk_compared", fails_at_first)
    assert run_asked_rejudgings() == 1
    assert f"the set {failing.uuid} could not be judged anew" in caplog.text
    failing.refresh_from_db()
    other.refresh_from_db()
    assert (failing.state, failing.judged, failing.error) == ("comparing", 0, "ArithmeticError: no figure")
    assert (other.state, other.error) == ("compared", "")
    client.force_login(builders.member(workshop.organisation, Role.MANAGER).user)
    address = f"/{workshop.organisation.slug}/judge-anew/{failing.uuid}/"
    page = client.get(address).content.decode()
    assert "ArithmeticError: no figure" in page
    assert "This goes on in the background" not in page
    assert client.get(f"/{workshop.organisation.slug}/judge-anew/").content.decode().count("stopped at an error") == 1
    lapsed = timezone.now() - rejudging_runs.CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)
    Rejudging.objects.filter(pk=failing.pk).update(claimed_at=lapsed)
    assert run_asked_rejudgings() == 1
    failing.refresh_from_db()
    assert (failing.state, failing.judged, failing.error) == ("compared", 1, "")
    assert "stopped at an error" not in client.get(address).content.decode()


def test_a_runner_whose_set_was_taken_over_stops_without_a_trace(
    workshop: Workshop, manager: Actor, waiting: None
) -> None:
    recorded(workshop)
    slow = clamp_high(workshop, manager)
    assert rejudging_runs._claimed(slow)
    Rejudging.objects.filter(pk=slow.pk).update(claimed_at=timezone.now() + dt.timedelta(seconds=1))
    assert rejudging_runs._one_chunk(workshop.organisation, slow) is False
    assert not RejudgedVerdict.objects.filter(rejudging=slow).exists()


def test_the_background_goes_on_with_a_set_although_nobody_has_named_its_organisation(
    workshop: Workshop, manager: Actor, waiting: None
) -> None:
    recorded(workshop)
    row = clamp_high(workshop, manager)
    with nameless():
        assert run_asked_rejudgings() == 1
    row.refresh_from_db()
    store_rejudging(manager, row)
    with nameless():
        assert run_asked_rejudgings() == 1
    assert numbers(workshop) == [1, 2]


def test_checks_recorded_meanwhile_are_not_in_the_set(workshop: Workshop, manager: Actor, waiting: None) -> None:
    recorded(workshop)
    row = clamp_high(workshop, manager)
    recorded(workshop, performed_at="2026-03-03T09:30:00Z")
    run_asked_rejudgings()
    row.refresh_from_db()
    assert (row.state, row.judged, row.total) == ("compared", 1, 1)


def test_a_tolerance_asked_for_is_kept_with_the_judgement_and_works_out_again(
    workshop: Workshop, manager: Actor
) -> None:
    check = recorded(workshop).inspection
    terms = Terms(reason="held to 1 %", tolerance_lower_percent=1.0, tolerance_upper_percent=1.0)
    row = store_rejudging(manager, ask_rejudging(manager, selection={}, terms=terms)[0])
    assert list(counted_changes(row)) == [("pass", "conditional_fail")]
    judgement = Judgement.objects.select_related("rating_revision").get(inspection=check, number=2)
    check.refresh_from_db()
    stage = full_result(check, judgement)["stages"][0]
    assert stage["lower_limit_a"] == pytest.approx(35.5 * 0.99)
    assert stage["budget"]


@pytest.mark.parametrize(
    ("selection", "found"),
    [
        ({}, 2),
        ({"since": "2026-03-03"}, 1),
        ({"until": "2026-03-02"}, 1),
        ({"revision": 1}, 2),
        ({"depot": "depot"}, 2),
        ({"installation": "installation"}, 2),
        ({"retarder_type": "retarder_type"}, 2),
        ({"meter": "meter", "since": "2026-03-02"}, 2),
    ],
)
def test_a_set_is_chosen_by_type_revision_meter_period_depot_or_unit(
    workshop: Workshop, manager: Actor, selection: dict[str, Any], found: int
) -> None:
    unit = workshop.installation
    ids = {
        "depot": unit.vehicle.depot.uuid,
        "installation": unit.uuid,
        "retarder_type": unit.retarder.retarder_type.uuid,
        "meter": workshop.voltmeter.uuid,
    }
    for day in (2, 3):
        recorded(workshop, performed_at=f"2026-03-0{day}T09:30:00Z")
    recorded(builders.workshop())
    name(workshop.organisation)
    named = {name: ids.get(name, value) for name, value in selection.items()}
    assert ask_rejudging(manager, selection=named, terms=Terms(reason="audit"))[0].total == found


@pytest.mark.parametrize(
    ("selection", "terms", "path"),
    [
        ({"meter": str(uuid4())}, Terms(reason="audit"), ("selection", "meter")),
        ({"since": "2031-01-01"}, Terms(reason="audit"), ("selection",)),
        ({}, Terms(reason=""), ("reason",)),
        ({}, Terms(reason="audit", corrections=GAIN), ("terms", "corrections", "ammeter_gain_percent")),
        ({}, Terms(reason="audit", decision_rule="max_false_accept"), ("terms", "max_false_accept_probability")),
        ({}, Terms(reason="audit", max_false_accept_probability=0.05), ("terms", "max_false_accept_probability")),
        ({}, Terms(reason="audit", tolerance_lower_percent=0.0), ("terms", "tolerance_lower_percent")),
    ],
)
def test_what_makes_no_sense_is_refused_at_its_field(
    workshop: Workshop, manager: Actor, selection: dict[str, Any], terms: Terms, path: tuple[str, ...]
) -> None:
    recorded(workshop)
    with pytest.raises(Refused) as refusal:
        ask_rejudging(manager, selection=selection, terms=terms)
    assert refusal.value.faults[0].path == path


def test_a_correction_of_minus_a_hundred_percent_divides_by_nothing_and_is_refused(
    workshop: Workshop, manager: Actor
) -> None:
    recorded(workshop)
    selection = {"meter": str(workshop.ammeter.uuid)}
    with pytest.raises(Refused):
        ask_rejudging(
            manager, selection=selection, terms=Terms(reason="audit", corrections={"ammeter_gain_percent": "-100"})
        )


@pytest.mark.parametrize(
    ("terms", "told"),
    [
        (Terms(reason="audit", decision_rule="max_false_accept"), "allowed is above 0 to 0.5, not none."),
        (Terms(reason="audit", max_false_accept_probability=0.05), "allowed is above 0 to 0.5, not 0.05."),
        (
            Terms(reason="audit", decision_rule="max_false_accept", max_false_accept_probability=0.7),
            "allowed is above 0 to 0.5, not 0.7.",
        ),
        (Terms(reason="audit", tolerance_upper_percent=100.5), "100.5 is out of range; allowed is above 0 to 100."),
        (
            Terms(reason="audit", corrections={"ammeter_gain_percent": "140"}),
            "140 is out of range; allowed is -100 to 100, both excluded.",
        ),
    ],
)
def test_a_refusal_names_the_value_and_what_is_allowed(
    workshop: Workshop, manager: Actor, terms: Terms, told: str
) -> None:
    recorded(workshop)
    with pytest.raises(Refused) as refusal:
        ask_rejudging(manager, selection={"meter": str(workshop.ammeter.uuid)}, terms=terms)
    (fault,) = refusal.value.faults
    assert fault.detail.endswith(told)


def test_a_technician_neither_asks_nor_stores(workshop: Workshop, manager: Actor) -> None:
    recorded(workshop)
    technician = builders.actor(workshop.organisation)
    row = clamp_high(workshop, manager)
    with pytest.raises(NotAllowed):
        clamp_high(workshop, technician)
    with pytest.raises(NotAllowed):
        store_rejudging(technician, row)


def test_a_due_date_that_rests_on_it_says_so_until_a_manager_decides_by_name_and_reason(
    workshop: Workshop, manager: Actor
) -> None:
    builders.check_plan(workshop.installation)
    recorded(workshop)
    store_rejudging(manager, clamp_high(workshop, manager))
    due = due_date(workshop)
    assert due.verdict_changed
    with pytest.raises(NotAllowed):
        settle_changed_due_date(builders.actor(workshop.organisation), due, reason="mine")
    with pytest.raises(Refused):
        settle_changed_due_date(manager, due, reason=" ")
    for _time in range(2):
        assert not settle_changed_due_date(manager, due, reason="read again with a good clamp").verdict_changed
    (entry,) = AuditEntry.objects.filter(organisation=workshop.organisation, action="verdict_settled")
    assert (entry.actor, entry.reason) == (manager.user, "read again with a good clamp")


def test_a_defect_that_rests_on_it_says_so(workshop: Workshop, manager: Actor) -> None:
    recorded(workshop, verdict="fail")
    terms = Terms(reason="clamp found reading high", corrections={"ammeter_gain_percent": "18.5"})
    selection = {"meter": str(workshop.ammeter.uuid)}
    store_rejudging(manager, ask_rejudging(manager, selection=selection, terms=terms)[0])
    flags = Defect.objects.filter(installation=workshop.installation).values_list("verdict_changed", flat=True)
    assert flags
    assert all(flags)
    assert Inspection.objects.get(installation=workshop.installation).verdict == "pass"
