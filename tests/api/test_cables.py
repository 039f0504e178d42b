"""The cables of a fitting: kept with the digits as typed, answered as the numbers that the document promises."""

from accounts.roles import Role
from tests.api.writing import read, sent
from tests.builders import Workshop
from tests.conftest import Api


def test_a_length_comes_back_as_a_number_with_its_digits_and_can_be_sent_again(workshop: Workshop) -> None:
    manager, path = Api(workshop.organisation, Role.MANAGER), f"installations/{workshop.installation.uuid}/"
    body = '{"cables": {"supply": {"size": "35 mm2", "length_m": 4.50}, "chassis_ground": {"length_m": 2.0}}}'
    answer = manager.client.patch(
        f"/api/v1/{path}", body, content_type="application/json", headers={"if-match": read(manager, path)["ETag"]}
    )
    assert answer.status_code == 200, answer.content
    seen = read(manager, path)
    for told in (answer, seen):
        assert b'"length_m":4.50' in told.content
        assert b'"length_m":2.0' in told.content
    cables = {name: cable for name, cable in seen.json()["cables"].items() if cable is not None}
    assert sent(manager, "patch", path, {"cables": cables}, if_match=seen["ETag"]).status_code == 200
