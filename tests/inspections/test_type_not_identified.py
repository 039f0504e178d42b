"""Type not identified: put on file, judged on balance and own history, identified, judged anew."""

import datetime as dt
from typing import Any

import pytest

from accounts.errors import NotAllowed, Refused
from accounts.models import AuditEntry
from accounts.roles import Role
from calc.evidence import rating_not_identified
from fleet.models import Installation, Retarder, RetarderType
from fleet.not_identified import move_to_type, types_it_may_be
from fleet.services import revise_rating
from inspections.models import Decline, Defect, DefectStep, Inspection, Judgement
from inspections.own_history import OwnHistories, own_mean_conductances
from inspections.queries import last_checks
from inspections.services.assess import assess
from inspections.services.defect_life import record_repair
from inspections.services.identifying import file_unidentified_unit, identify_type
from inspections.services.judging import evidence_anew, judged, stored_evidence
from inspections.services.record import Recorded, record_inspections
from inspections.services.rejudging_runs import counted_changes
from inspections.type_candidates import type_candidates
from schedules.services.due_dates import refresh_due_dates
from tests import builders
from tests.builders import Workshop
from tests.inspections.test_trends import night, told
from tests.inspections.visits import due_date, parsed, recorded
from tests.naming import name

TYPES: dict[str, dict[str, Any]] = {
    "fits": {"rated_currents_a": [36.0] * 4},
    "a little off": {"rated_currents_a": [39.0] * 4},
    "far off": {"rated_currents_a": [50.0] * 4},
    "no voltage": {"reference_voltage_v": None, "reference_voltage_basis": "unknown"},
    "other shape": {"rated_currents_a": [50.0, 25.0, 36.0, 36.0]},
    "three stages": {"rated_currents_a": [36.0] * 3},
    "24 V": {"rated_currents_a": [36.0] * 4, "system_voltage_v": 24},
}
FACTS: dict[str, Any] = {"stages": 4, "coils_counted": 8, "leads_counted": 5, "air_gap_mm": 1.4, "note": "Plate gone."}


def unidentified(**facts: Any) -> Workshop:
    """Return a workshop whose unit nobody knows the type of."""
    made = builders.workshop()
    manager = builders.actor(made.organisation, Role.MANAGER)
    fitted = file_unidentified_unit(
        manager,
        vehicle=builders.vehicle(made.organisation).uuid,
        serial_number="red paint",
        fitted_on=builders.FITTED_ON,
        **FACTS | facts,
    )
    return Workshop(made.organisation, fitted, made.ammeter, made.voltmeter)


def manager_of(of: Workshop) -> Any:
    return builders.actor(of.organisation, Role.MANAGER)


def found(result: Any) -> dict[str, Any]:
    return {finding["code"]: finding for finding in result["findings"]}


def read(*currents_a: float) -> dict[str, Any]:
    return {
        "stage_readings": [
            {"stage": stage, "energised": [stage], "supply_voltage_v": 14.0, "current_a": current_a}
            for stage, current_a in enumerate(currents_a, start=1)
        ]
    }


def at(month: int) -> str:
    return f"2026-{month:02}-02T09:30:00Z"


def test_it_is_put_on_file_with_what_was_counted_and_without_a_figure_nobody_read(db: None) -> None:
    unit = unidentified().installation.retarder
    kind, revision = unit.retarder_type, unit.retarder_type.revisions.get()
    assert {name: getattr(kind, name) for name in FACTS} == FACTS
    assert (kind.identified, unit.found_as_id) == (False, kind.pk)
    assert (revision.rated_currents_a, revision.reference_voltage_v, revision.reference_voltage_basis) == (
        [None] * 4,
        None,
        "not_identified",
    )
    assert {revision.tolerance_lower_percent, revision.tolerance_upper_percent, revision.coils_in_series} == {None}
    entry = AuditEntry.objects.filter(organisation=kind.organisation, object_id=kind.uuid).get()
    assert entry.after is not None
    assert (entry.action, entry.after["coils_counted"], entry.after["identified"]) == ("add", 8, False)


def test_it_gets_no_verdict_however_good_and_no_figure_that_needs_a_rating(db: None) -> None:
    judged = recorded(unidentified(), **read(36.3, 36.4, 36.2, 36.3))
    result = judged.result
    assert (result["verdict"], result["action"]) == ("undetermined", "identify_the_type")
    assert {reason["code"] for reason in result["verdict_reasons"]} == {"type_not_identified"}
    for stage in result["stages"]:
        figures = ("normalised_current_a", "lower_limit_a", "upper_limit_a", "level_percent", "capability")
        assert [stage[figure] for figure in figures] == [None] * 5
    assert result["torque_share_percent"] is None
    assert result["imbalance_percent"] == pytest.approx(100 * 0.1 / 36.3)
    assert {"stages_alike", "no_own_history"} <= found(result).keys()
    assert judged.inspection.level_1 is None


@pytest.mark.parametrize(
    ("currents_a", "code", "stage", "verdict"),
    [
        ((36.3, 36.4, 30.0, 36.3), "stage_unlike_the_others", 3, "undetermined"),
        ((36.3, 36.4, 0.0, 36.3), "stage_draws_nothing", 3, "fail"),
    ],
)
def test_a_stage_that_differs_is_named(
    db: None, currents_a: tuple[float, ...], code: str, stage: int, verdict: str
) -> None:
    result = recorded(unidentified(), **read(*currents_a)).result
    assert (found(result)[code]["stage"], result["verdict"]) == (stage, verdict)


def test_its_earlier_checks_are_kept_with_the_readings_and_judged_against(db: None) -> None:
    unit = unidentified()
    first = recorded(unit, at(1), **read(36.3, 36.3, 36.3, 36.3))
    second = recorded(unit, at(3), **read(36.3, 36.3, 32.7, 36.3))
    (kept,) = second.inspection.evidence["own_history"]
    assert kept["inspection"] == str(first.inspection.uuid)
    assert float(kept["stages"][2]["conductance_s"]) == pytest.approx(36.3 / 14.0)
    fallen = found(second.result)["stage_unlike_its_history"]
    assert (fallen["stage"], fallen["params"]["checks"]) == (3, 1)
    assert fallen["params"]["deviation_percent"] == pytest.approx(100 * (32.7 / 36.3 - 1))
    assert found(recorded(unit, at(2), **read(36.3, 36.3, 36.3, 36.3)).result)["like_its_history"]["severity"] == "note"


def test_the_verdict_works_out_the_same_after_its_history_was_replaced(db: None) -> None:
    unit = unidentified()
    first = recorded(unit, at(1))
    second = recorded(unit, at(3), **read(36.3, 36.3, 32.7, 36.3))
    recorded(unit, at(1), supersedes=str(first.inspection.uuid), supersede_reason="volts misread", **read(*[30.0] * 4))
    stored = Judgement.objects.select_related("rating_revision").get(inspection=second.inspection)
    evidence = stored_evidence(Inspection.objects.get(pk=second.inspection.pk), stored)
    assert list(judged(evidence)["findings"]) == list(second.result["findings"])


def test_readings_that_are_only_assessed_are_held_against_the_history_as_it_is_now(db: None) -> None:
    unit = unidentified()
    recorded(unit, at(1))
    document = parsed(builders.inspection_document(unit, **read(36.3, 36.3, 30.0, 36.3)))
    sent = {key: value for key, value in document.items() if key not in {"id", "performed_at", "purpose"}}
    assert found(assess(manager_of(unit), sent))["stage_unlike_its_history"]["stage"] == 3


def defects(of: Workshop) -> list[tuple[int | None, str, str]]:
    rows = Defect.objects.filter(installation=of.installation).order_by("pk")
    return list(rows.values_list("stage", "code", "state"))


def repaired(of: Workshop) -> list[str]:
    """Say of every open defect that it was repaired, and return which those are."""
    rows = list(Defect.objects.filter(installation=of.installation, closed_at__isnull=True))
    for defect in rows:
        record_repair(builders.actor(of.organisation), defect, done="Lead renewed.")
    return [str(defect.uuid) for defect in rows]


def only_stage_3(current_a: float) -> dict[str, Any]:
    return {"stage_readings": read(0, 0, current_a, 0)["stage_readings"][2:3]}


@pytest.mark.parametrize(
    ("dead_a", "again_a", "state"),
    [(0.0, 36.3, "closed"), (0.0, 0.1, "open"), (14.0, 36.3, "closed"), (14.0, 14.0, "open")],
)
@pytest.mark.parametrize("alone", [True, False])
def test_a_retest_closes_what_it_no_longer_shows_and_opens_again_what_it_does(
    db: None, dead_a: float, again_a: float, state: str, *, alone: bool
) -> None:
    unit = unidentified()
    recorded(unit, at(1), **read(36.3, 36.3, 36.3, 36.3))
    recorded(unit, at(2), **read(36.3, 36.3, dead_a, 36.3))
    code = "stage_draws_nothing" if dead_a == 0.0 else "stage_unlike_its_history"
    assert defects(unit) == [(3, code, "open")]
    readings = only_stage_3(again_a) if alone else read(36.3, 36.3, again_a, 36.3)
    recorded(unit, at(3), purpose="retest", retest_of=repaired(unit), **readings)
    assert defects(unit) == [(3, code, state)]
    step = DefectStep.objects.filter(defect__installation=unit.installation).order_by("pk").last()
    assert step is not None
    assert step.kind == ("retest_passed" if state == "closed" else "retest_failed")


def test_a_retest_by_meters_that_cannot_tell_closes_nothing(db: None) -> None:
    unit = unidentified()
    recorded(unit, at(1), **read(36.3, 36.3, 0.0, 36.3))
    again = recorded(unit, at(2), purpose="retest", retest_of=repaired(unit), **only_stage_3(0.1))
    assert found(again.result)["stage_current_not_told"]["stage"] == 3
    assert defects(unit) == [(3, "stage_draws_nothing", "open")]


def test_a_stage_that_was_weak_from_the_first_and_is_repaired_is_not_held_to_its_weakness(db: None) -> None:
    unit = unidentified()
    recorded(unit, at(1), **read(36.3, 36.3, 15.0, 36.3))
    recorded(unit, at(2), **read(36.3, 36.3, 0.0, 36.3))
    again = recorded(unit, at(3), purpose="retest", retest_of=repaired(unit), **read(36.3, 36.3, 36.3, 36.3))
    assert again.result["verdict"] == "undetermined"
    assert defects(unit) == [(3, "stage_draws_nothing", "closed")]
    after = recorded(unit, at(4), **read(36.3, 36.3, 36.3, 36.3))
    assert "like_its_history" in found(after.result)


def test_only_a_retest_that_closed_a_defect_of_the_stage_begins_its_history_anew(db: None) -> None:
    unit = unidentified()
    first = recorded(unit, at(1), **read(36.3, 36.3, 36.3, 36.3)).inspection
    recorded(unit, at(2), purpose="retest", **read(36.3, 36.3, 32.7, 36.3))
    assert found(recorded(unit, at(3), **read(36.3, 36.3, 30.0, 36.3)).result)["stage_unlike_its_history"]["stage"] == 3
    recorded(unit, at(4), **read(36.3, 36.3, 0.0, 36.3))
    retest = recorded(
        unit, at(5), purpose="retest", retest_of=repaired(unit), **read(36.3, 36.3, 36.3, 36.3)
    ).inspection
    after = recorded(unit, at(6), **read(36.3, 36.3, 36.3, 36.3))
    kept = {entry["inspection"]: [one["stage"] for one in entry["stages"]] for entry in own_history(after)}
    assert kept[str(first.uuid)] == [1, 2, 4]
    assert kept[str(retest.uuid)] == [3]
    assert "like_its_history" in found(after.result)


def own_history(of: Recorded) -> list[dict[str, Any]]:
    kept: list[dict[str, Any]] = of.inspection.evidence["own_history"]
    return kept


def test_it_is_held_against_its_first_checks_so_that_no_loss_becomes_usual(db: None) -> None:
    unit = unidentified()
    first = [recorded(unit, at(month), **read(36.3, 36.3, 36.3, 36.3)).inspection for month in (1, 2)]
    for month in range(3, 9):
        last = recorded(unit, at(month), **read(36.3, 36.3, 30.0, 36.3))
    of_stage_3 = [entry["inspection"] for entry in own_history(last) if len(entry["stages"]) == 4]
    assert of_stage_3 == [str(check.uuid) for check in first]
    assert [len(entry["stages"]) for entry in own_history(last)] == [4, 4, 3]
    fallen = found(last.result)["stage_unlike_its_history"]["params"]
    assert (fallen["checks"], fallen["deviation_percent"]) == (2, pytest.approx(100 * (30.0 / 36.3 - 1)))


def test_a_check_entered_late_is_held_against_what_was_before_it_alone(db: None) -> None:
    unit = unidentified()
    recorded(unit, at(4), **read(36.3, 36.3, 36.3, 36.3))
    late = recorded(unit, at(2), **read(36.3, 36.3, 30.0, 36.3))
    assert "no_own_history" in found(late.result)
    assert own_history(recorded(unit, at(3)))[0]["inspection"] == str(late.inspection.uuid)


def test_the_history_is_looked_up_at_the_same_cost_for_many_checks_and_many_repairs(
    db: None, django_assert_num_queries: Any
) -> None:
    unit = unidentified()
    rating = rating_not_identified(4, 12.0)
    for month in (1, 4, 7):
        recorded(unit, at(month), **read(36.3, 36.3, 0.0, 36.3))
        recorded(unit, at(month + 1), purpose="retest", retest_of=repaired(unit), **read(36.3, 36.3, 36.3, 36.3))
        name(unit.organisation)
        with django_assert_num_queries(2):
            OwnHistories.of({unit.installation.retarder_id: rating})


def test_while_a_defect_is_open_its_stage_is_expected_to_draw_nothing_in_particular(db: None) -> None:
    unit = unidentified()
    recorded(unit, at(1), **read(36.3, 36.3, 15.0, 36.3))
    rating, retarder = rating_not_identified(4, 12.0), unit.installation.retarder_id
    name(unit.organisation)
    assert own_mean_conductances(retarder, rating)[3] == pytest.approx(15.0 / 14.0)
    recorded(unit, at(2), **read(36.3, 36.3, 0.0, 36.3))
    name(unit.organisation)
    assert sorted(own_mean_conductances(retarder, rating)) == [1, 2, 4]


def test_a_clamp_found_wrong_leaves_out_the_history_that_it_may_have_read_too(db: None) -> None:
    unit = unidentified()
    recorded(unit, at(1), **read(36.3, 36.3, 36.3, 36.3))
    second = recorded(unit, at(2), **read(36.3, 36.3, 36.3, 36.3)).inspection
    for corrections, code in (({}, "like_its_history"), ({"ammeter_gain_percent": "-8.0"}, "own_history_left_out")):
        anew = evidence_anew(
            second,
            second.rating_revision,
            decision_rule="simple",
            max_false_accept_probability=None,
            corrections=corrections,
        )
        codes = found(judged(anew)).keys()
        assert {"like_its_history", "own_history_left_out", "stage_unlike_its_history"} & codes == {code}


def test_checks_sent_together_are_each_others_history(db: None) -> None:
    unit = unidentified()
    by = builders.actor(unit.organisation)
    sent = [
        parsed(builders.inspection_document(unit, performed_at=at(month), **read(36.3, 36.3, amps, 36.3)))
        for month, amps in ((2, 32.7), (1, 36.3))
    ]
    second, _first = record_inspections(by, sent)
    assert isinstance(second, Recorded)
    assert "stage_unlike_its_history" in found(second.result)


def test_no_other_unit_carries_a_history(workshop: Workshop) -> None:
    recorded(workshop, at(1))
    assert "own_history" not in recorded(workshop, at(2)).inspection.evidence


def test_types_on_file_are_ranked_by_what_the_stages_conduct(db: None) -> None:
    unit = unidentified()
    recorded(unit, **read(36.3, 36.2, 36.4, 36.3))
    by_name = {called: builders.retarder_type(unit.organisation, **figures) for called, figures in TYPES.items()}
    builders.retarder_type(builders.organisation())
    name(unit.organisation)
    candidates = type_candidates(unit.installation)
    fits = {candidate.kind.pk: candidate for candidate in candidates.found}
    assert candidates.checks == 1
    assert {by_name["three stages"].pk, by_name["24 V"].pk} & fits.keys() == set()
    assert {candidate.kind.organisation_id for candidate in candidates.found} == {unit.organisation.pk}
    places = [
        [candidate.kind.pk for candidate in candidates.found].index(by_name[called].pk)
        for called in ("fits", "a little off", "no voltage", "far off")
    ]
    assert places == sorted(places)
    assert fits[by_name["fits"].pk].fit.level_percent == pytest.approx(100 * 36.3 / 36.0)
    assert fits[by_name["fits"].pk].coils == 16
    assert fits[by_name["no voltage"].pk].fit.level_percent is None
    assert (fits[by_name["far off"].pk].fit.probability or 1.0) < 1e-6
    assert (fits[by_name["other shape"].pk].fit.probability or 1.0) < 1e-6


def test_candidates_cost_the_same_at_one_type_and_at_many(db: None, django_assert_num_queries: Any) -> None:
    unit = unidentified()
    recorded(unit)
    for number in (1, 12):
        for _type in range(number):
            builders.retarder_type(unit.organisation)
        with django_assert_num_queries(4):
            type_candidates(unit.installation)


def test_identified_its_checks_are_judged_by_the_types_rating_beside_how_they_were(db: None) -> None:
    unit = unidentified()
    builders.check_plan(unit.installation)
    good = recorded(unit, at(1)).inspection
    bad = recorded(unit, at(2), **read(36.3, 36.3, 27.0, 36.3)).inspection
    due_before = due_date(unit).due_on
    kind = builders.retarder_type(unit.organisation)
    run = identify_type(manager_of(unit), unit.installation.retarder, kind, reason="Coils and leads counted again.")
    assert run is not None
    assert (run.state, run.total, counted_changes(run)) == (
        "done",
        2,
        {("undetermined", "pass"): 1, ("undetermined", "fail"): 1},
    )
    assert [Inspection.objects.get(pk=check.pk).verdict for check in (good, bad)] == ["pass", "fail"]
    judgements = Judgement.objects.filter(inspection=good).order_by("number")
    assert [(each.verdict, each.rating_revision.retarder_type_id == kind.pk) for each in judgements] == [
        ("undetermined", False),
        ("pass", True),
    ]
    assert judgements[1].result["stages"][0]["level_percent"] == pytest.approx(100 * 36.3 / 35.5)
    assert due_date(unit).due_on == due_before
    refresh_due_dates([unit.installation], last_checks, as_of=dt.datetime(2026, 3, 1, tzinfo=dt.UTC))
    assert due_date(unit).due_on == dt.date(2026, 7, 2)
    entry = AuditEntry.objects.get(organisation=unit.organisation, action="identify")
    assert (entry.reason, entry.after) == ("Coils and leads counted again.", {"retarder_type_id": kind.pk})


def test_what_was_identified_wrongly_goes_back_with_a_reason(db: None) -> None:
    unit = unidentified()
    check = recorded(unit, **read(36.3, 36.3, 30.0, 36.3)).inspection
    retarder, manager = unit.installation.retarder, manager_of(unit)
    own, kind = retarder.retarder_type, builders.retarder_type(unit.organisation)
    identify_type(manager, retarder, kind, reason="By the coils.")
    identify_type(manager, retarder, own, reason="The coils were counted wrongly.")
    verdicts = Judgement.objects.filter(inspection=check).order_by("number").values_list("verdict", flat=True)
    assert list(verdicts) == ["undetermined", "fail", "undetermined"]
    last = Judgement.objects.get(inspection=check, number=3).result
    assert "stage_unlike_the_others" in found(last)


def test_a_unit_never_checked_is_identified_without_judging_anything(db: None) -> None:
    unit = unidentified()
    kind = builders.retarder_type(unit.organisation)
    assert identify_type(manager_of(unit), unit.installation.retarder, kind, reason="Plate found.") is None
    assert Installation.objects.get(pk=unit.installation.pk).retarder.retarder_type_id == kind.pk


@pytest.mark.parametrize(
    ("choose", "reason", "code"),
    [
        (lambda of: builders.retarder_type(of, rated_currents_a=[36.0] * 3), "By the plate.", "other_stages"),
        (lambda of: builders.retarder_type(of), " ", "required"),
        (lambda of: builders.retarder_type(of, system_voltage_v=24), "By the plate.", "other_voltage"),
        (lambda of: with_serial(builders.retarder_type(of)), "By the plate.", "taken"),
        (lambda of: RetarderType.objects.create(organisation=of, designation="?", stages=4), "Plate.", "no_rating"),
        (lambda of: RetarderType.objects.get(organisation=of, identified=False), "Again.", "unchanged"),
        (
            lambda of: RetarderType.objects.create(organisation=of, designation="?", stages=4, identified=False),
            "By the plate.",
            "not_identified",
        ),
    ],
)
def test_a_type_that_it_cannot_be_is_refused(db: None, choose: Any, reason: str, code: str) -> None:
    unit = unidentified()
    with pytest.raises(Refused) as refused:
        move_to_type(manager_of(unit), unit.installation.retarder, choose(unit.organisation), reason=reason)
    assert [fault.code for fault in refused.value.faults] == [code]
    stored = Retarder.objects.get(pk=unit.installation.retarder_id)
    assert stored.retarder_type_id == stored.found_as_id


def with_serial(kind: RetarderType) -> RetarderType:
    Retarder.objects.create(organisation=kind.organisation, retarder_type=kind, serial_number="red paint")
    return kind


def test_what_refuses_a_type_names_both_sides(db: None) -> None:
    unit = unidentified()
    of_24_v = builders.retarder_type(unit.organisation, system_voltage_v=24)
    taken = with_serial(builders.retarder_type(unit.organisation))
    for kind, words in ((of_24_v, ("24 V", "12 V")), (taken, (taken.designation, "red paint"))):
        with pytest.raises(Refused) as refused:
            identify_type(manager_of(unit), unit.installation.retarder, kind, reason="By the plate.")
        (fault,) = refused.value.faults
        assert fault.path == ("retarder_type",)
        assert all(word in fault.detail for word in words)


def test_the_types_offered_are_those_that_are_taken(db: None) -> None:
    unit = unidentified()
    fits = builders.retarder_type(unit.organisation)
    for changed in ({"system_voltage_v": 24}, {"rated_currents_a": [36.0] * 3}):
        builders.retarder_type(unit.organisation, **changed)
    RetarderType.objects.create(organisation=unit.organisation, designation="no rating yet", stages=4)
    offered = set(types_it_may_be(unit.installation.retarder))
    assert fits in offered
    assert {(kind.stages, kind.revisions.get().system_voltage_v) for kind in offered} == {(4, 12)}
    assert type_candidates(unit.installation).checks == 0


def test_neither_a_unit_nor_a_type_of_another_organisation_is_moved(db: None) -> None:
    unit, elsewhere = unidentified(), unidentified()
    for of, kind, path in (
        (elsewhere, builders.retarder_type(unit.organisation), ("retarder",)),
        (unit, builders.retarder_type(elsewhere.organisation), ("retarder_type",)),
    ):
        name(unit.organisation)
        with pytest.raises(Refused) as refused:
            identify_type(manager_of(unit), of.installation.retarder, kind, reason="By the plate.")
        assert [(fault.path, fault.code) for fault in refused.value.faults] == [(path, "not_found")]


def test_only_who_manages_puts_it_on_file_and_says_what_it_is(db: None) -> None:
    unit = unidentified()
    technician = builders.actor(unit.organisation)
    kind = builders.retarder_type(unit.organisation)
    with pytest.raises(NotAllowed):
        identify_type(technician, unit.installation.retarder, kind, reason="By the plate.")
    with pytest.raises(NotAllowed):
        file_unidentified_unit(technician, vehicle=unit.installation.vehicle.uuid, serial_number="other", **FACTS)


def test_a_vehicle_of_another_organisation_is_unknown_and_a_mark_is_used_once(db: None) -> None:
    unit, elsewhere = unidentified(), builders.vehicle(builders.organisation())
    for vehicle, mark, path in (
        (elsewhere.uuid, "blue paint", ("vehicle",)),
        (unit.installation.vehicle.uuid, "red paint", ("serial_number",)),
    ):
        name(unit.organisation)
        with pytest.raises(Refused) as refused:
            file_unidentified_unit(manager_of(unit), vehicle=vehicle, serial_number=mark, **FACTS)
        assert [fault.path for fault in refused.value.faults] == [path]


def test_it_is_given_no_rating_of_its_own(db: None) -> None:
    unit = unidentified()
    with pytest.raises(Refused) as refused:
        revise_rating(
            manager_of(unit),
            unit.installation.retarder.retarder_type,
            reason="guessed",
            rated_currents_a=[36.0] * 4,
            system_voltage_v=12,
        )
    assert [fault.code for fault in refused.value.faults] == ["not_identified"]


def test_a_clamp_zero_is_told_from_a_leak_by_the_units_own_stages(db: None) -> None:
    for rest_a, code in ((3.0, "rest_current_subtracted"), (8.0, "rest_current")):
        rest = {"supply_voltage_v": 14.1, "current_a": rest_a}
        result = recorded(unidentified(), rest=rest, **read(*[36.3 + rest_a] * 4)).result
        assert found(result)[code]["params"]["largest_zero_a"] == pytest.approx(0.15 * 36.3)


@pytest.mark.parametrize("identified", [False, True])
def test_the_night_follows_no_loss_of_it_and_its_whole_history_once_it_is_identified(
    db: None, identified: bool
) -> None:
    unit = unidentified()
    visits = told(unit, per_visit_percent=2.0)
    if identified:
        kind = builders.retarder_type(unit.organisation)
        identify_type(manager_of(unit), unit.installation.retarder, kind, reason="Plate found.")
    night(unit, visits)
    name(unit.organisation)
    found_by_the_night = Decline.objects.of(unit.organisation).values_list("attribution", "stage")
    assert list(found_by_the_night) == ([("stage", 3)] if identified else [])
    assert visits[-1].verdict == "undetermined"
    warned = [check for check in visits if "stage_unlike_its_history" in found(check.judgements.get(number=1).result)]
    assert warned
