"""Judging stored inspections anew: beside the old judgement, with a reason, and with a report of what changed."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from accounts.actors import Actor
from accounts.errors import NotAllowed, Refused
from accounts.models import AuditEntry
from accounts.roles import Role
from fleet.services import revise_rating
from inspections.management.commands import rejudge
from inspections.models import Defect, Inspection, Judgement, Rejudging
from inspections.services import rejudging_runs
from inspections.services.judging import full_result
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import decided_rejudging
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import changes_judged_anew, due_date, recorded
from tests.naming import name

FIGURES: dict[str, Any] = {
    "reference_voltage_v": 14.0,
    "reference_voltage_basis": "stated",
    "tolerance_lower_percent": 10.0,
    "tolerance_upper_percent": 10.0,
    "system_voltage_v": 12,
    "coils_in_series": 2,
    "coils_in_parallel": 2,
}


@pytest.fixture
def manager(workshop: Workshop) -> Actor:
    return builders.actor(workshop.organisation, Role.MANAGER)


def test_a_revised_rating_gives_a_second_judgement_beside_the_first(workshop: Workshop, manager: Actor) -> None:
    first = recorded(workshop, verdict="fail").inspection
    kind = workshop.installation.retarder.retarder_type
    revise_rating(manager, kind, reason="plate read again", rated_currents_a=[43.0] * 4, **FIGURES)
    changes = changes_judged_anew(manager, Terms(reason="plate read again"))
    assert changes == {("fail", "pass"): 1}
    verdicts = Judgement.objects.filter(inspection=first).order_by("number").values_list("number", "verdict", "reason")
    assert list(verdicts) == [(1, "fail", ""), (2, "pass", "plate read again")]
    first.refresh_from_db()
    assert (first.verdict, first.rating_revision.number) == ("pass", 2)


def test_the_first_judgement_still_works_out_to_its_own_figures(workshop: Workshop, manager: Actor) -> None:
    first = recorded(workshop, verdict="fail")
    kind = workshop.installation.retarder.retarder_type
    revise_rating(manager, kind, reason="plate read again", rated_currents_a=[43.0] * 4, **FIGURES)
    changes_judged_anew(manager, Terms(reason="plate read again"))
    stored = Judgement.objects.select_related("rating_revision").get(inspection=first.inspection, number=1)
    inspection = Inspection.objects.get(pk=first.inspection.pk)
    again, once = (result["stages"][0]["budget"] for result in (full_result(inspection, stored), first.result))
    assert list(again) == list(once)


def test_the_error_found_in_a_clamp_is_taken_out_and_the_evidence_stays(workshop: Workshop, manager: Actor) -> None:
    stored = recorded(workshop, verdict="fail").inspection
    before = stored.evidence
    terms = Terms(reason="clamp found reading high", corrections={"ammeter_gain_percent": "18.5"})
    assert changes_judged_anew(manager, terms, meter=str(workshop.ammeter.uuid)) == {("fail", "pass"): 1}
    stored.refresh_from_db()
    assert stored.evidence == before
    assert Judgement.objects.get(inspection=stored, number=2).corrections == {"ammeter_gain_percent": "18.5"}


def test_what_rests_on_a_verdict_that_changed_side_says_so(workshop: Workshop, manager: Actor) -> None:
    builders.check_plan(workshop.installation)
    recorded(workshop)
    terms = Terms(reason="clamp found reading high", corrections={"ammeter_gain_percent": "25"})
    assert changes_judged_anew(manager, terms, meter=str(workshop.ammeter.uuid)) == {("pass", "fail"): 1}
    assert due_date(workshop).verdict_changed
    recorded(workshop, verdict="fail", performed_at="2026-04-02T09:30:00Z")
    terms = Terms(reason="the correction was wrong", corrections={"ammeter_gain_percent": "18.5"})
    changes_judged_anew(manager, terms, meter=str(workshop.ammeter.uuid))
    assert all(Defect.objects.filter(installation=workshop.installation).values_list("verdict_changed", flat=True))


def test_the_same_terms_again_change_no_verdict_and_stay_on_record(workshop: Workshop, manager: Actor) -> None:
    recorded(workshop)
    for _time in range(2):
        assert changes_judged_anew(manager, Terms(reason="audit", decision_rule="simple")) == {}
    numbers = Judgement.objects.filter(inspection__installation=workshop.installation).values_list("number", flat=True)
    assert sorted(numbers) == [1, 2, 3]
    told = AuditEntry.objects.filter(organisation=workshop.organisation, action="rejudge")
    assert [entry.reason for entry in told] == ["audit", "audit"]


def test_another_organisations_inspections_are_not_touched(workshop: Workshop, manager: Actor) -> None:
    recorded(workshop)
    other = builders.workshop()
    theirs = recorded(other).inspection
    name(workshop.organisation)
    changes_judged_anew(manager, Terms(reason="audit"))
    name(other.organisation)
    assert Judgement.objects.filter(inspection=theirs).count() == 1


def test_a_technician_judges_nothing_anew_and_nobody_does_without_a_reason(workshop: Workshop, manager: Actor) -> None:
    technician = builders.actor(workshop.organisation)
    with pytest.raises(NotAllowed):
        changes_judged_anew(technician, Terms(reason="audit"))
    with pytest.raises(Refused):
        changes_judged_anew(manager, Terms(reason=""))


def test_the_command_reports_what_changed_class_and_makes_the_row_that_the_page_shows(workshop: Workshop) -> None:
    recorded(workshop)
    out, slug, meter = StringIO(), workshop.organisation.slug, str(workshop.ammeter.uuid)
    call_command("rejudge", "--meter", meter, organisation=slug, reason="audit", ammeter_gain_percent="25", stdout=out)
    assert out.getvalue() == "1 inspections judged anew, 1 with another verdict.\npass -> fail: 1\n"
    row = Rejudging.objects.get(organisation=workshop.organisation)
    assert (row.state, row.reason, row.judged, row.total, row.requested_by) == ("done", "audit", 1, 1, None)
    assert row.selection == {"meter": meter}


def test_the_command_says_so_where_another_runner_took_the_set_before_it(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorded(workshop)

    def decided_and_taken(*args: Any, **kwargs: Any) -> Rejudging:
        row = decided_rejudging(*args, **kwargs)
        assert rejudging_runs._claimed(row)
        return row

    monkeypatch.setattr(rejudge, "decided_rejudging", decided_and_taken)
    out = StringIO()
    call_command("rejudge", organisation=workshop.organisation.slug, reason="audit", stdout=out)
    row = Rejudging.objects.get(organisation=workshop.organisation)
    assert row.state == "storing"
    assert out.getvalue() == (
        "Another runner has this set and goes on with it: 0 of 1 inspections judged anew so far. "
        f"How far it is stands on the page “Judge anew” and at /api/v1/rejudgings/{row.uuid}/.\n"
    )


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--ammeter-gain-percent", "25"], "choose the meter"),
        (["--ammeter-gain-percent", "much"], "'much' is no number"),
        (["--meter", "00000000-0000-4000-8000-000000000000"], "Nothing here has the id"),
        (["--since", "yesterday"], "yesterday"),
        (["--since", "2031-01-01"], "No check fits"),
        (["--depot", "North"], "invalid UUID value"),
    ],
)
def test_the_command_refuses_in_one_line_what_makes_no_sense(workshop: Workshop, given: list[str], told: str) -> None:
    recorded(workshop)
    with pytest.raises(CommandError, match=told):
        call_command("rejudge", "--organisation", workshop.organisation.slug, "--reason", "audit", *given)
    assert not Rejudging.objects.filter(organisation=workshop.organisation).exists()


def test_the_command_refuses_an_unknown_organisation_in_one_line(db: None) -> None:
    with pytest.raises(CommandError, match="There is no organisation 'nowhere'"):
        call_command("rejudge", organisation="nowhere", reason="audit")
