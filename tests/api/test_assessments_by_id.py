"""Assessments against what is on file: an installation's rating, meters by their id, the organisation's rule."""

import datetime as dt

from accounts.identity import new_id
from inspections.models import Inspection
from tests import builders
from tests.api.documents import assessment_document, without
from tests.builders import Workshop, single_pass
from tests.conftest import Api


def test_meters_by_id_judge_as_the_same_figures_inline(api: Api, workshop: Workshop) -> None:
    by_id = assessment_document(ammeter=str(workshop.ammeter.uuid), voltmeter=str(workshop.voltmeter.uuid))
    assert api.post("assessments/", by_id).json() == api.post("assessments/", assessment_document()).json()


def test_one_meter_by_id_and_one_inline_are_taken(api: Api, workshop: Workshop) -> None:
    mixed = assessment_document(ammeter=str(workshop.ammeter.uuid).upper())
    assert api.post("assessments/", mixed).json() == api.post("assessments/", assessment_document()).json()


def test_an_installation_judges_by_its_rating_on_file(api: Api, workshop: Workshop) -> None:
    document = without(assessment_document(), "rating") | {"installation": str(workshop.installation.uuid)}
    assert api.post("assessments/", document).json() == api.post("assessments/", assessment_document()).json()


def test_the_newest_rating_revision_judges(api: Api, workshop: Workshop) -> None:
    kind = workshop.installation.retarder.retarder_type
    first = kind.revisions.get()
    first.pk, first.uuid, first.number, first.rated_currents_a = None, new_id(), 2, [20.0] * 4
    first.save(force_insert=True)
    document = without(assessment_document(), "rating") | {"installation": str(workshop.installation.uuid)}
    assert api.post("assessments/", document).json()["verdict"] == "fail"


def test_a_rating_as_an_installation_shows_it_can_be_sent_back(api: Api, workshop: Workshop) -> None:
    shown = api.get(f"installations/{workshop.installation.uuid}/").json()["rating"]
    assert shown["rated_current_a"] == 35.5
    answer = api.post("assessments/", assessment_document(rating=shown))
    assert answer.json() == api.post("assessments/", assessment_document()).json()


def test_stages_that_differ_are_rated_one_by_one(api: Api) -> None:
    rating = {**without(assessment_document()["rating"], "rated_current_a"), "rated_currents_a": [35.5, 35.5, 35.5, 71]}
    answer = api.post("assessments/", assessment_document(rating=rating)).json()
    assert [stage["verdict"] for stage in answer["stages"]] == ["pass", "pass", "pass", "fail"]
    assert answer["stages"][3]["lower_limit_a"] == 2 * answer["stages"][0]["lower_limit_a"]


def test_a_rating_without_tolerance_is_taken_as_ten_percent_and_said_so(api: Api) -> None:
    rating = without(assessment_document()["rating"], "tolerance_percent")
    answer = api.post("assessments/", assessment_document(rating=rating)).json()
    assert "tolerance_assumed" in [finding["code"] for finding in answer["findings"]]
    stated = api.post("assessments/", assessment_document()).json()
    assert answer["stages"] == stated["stages"]


def test_absent_the_organisations_rule_judges(db: None) -> None:
    strict = builders.organisation(decision_rule="max_false_accept", max_false_accept_probability=0.001)
    answer = Api(strict).post("assessments/", assessment_document()).json()
    assert answer["decision_rule"] == "max_false_accept"


def test_an_assessment_stores_nothing_and_asks_not_whether_the_unit_is_still_fitted(db: None) -> None:
    workshop = builders.workshop(removed_on=dt.date(2024, 2, 1))
    document = without(assessment_document(), "rating") | {"installation": str(workshop.installation.uuid)}
    answer = Api(workshop.organisation).post("assessments/", {**document, "stage_readings": single_pass(5.0)})
    assert answer.json()["verdict"] == "fail"
    assert not Inspection.objects.filter(organisation=workshop.organisation).exists()
    assert not workshop.installation.defects.exists()
