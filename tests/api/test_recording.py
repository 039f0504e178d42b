"""Recording an inspection through the API."""

from tests.builders import Workshop, inspection_document
from tests.conftest import Api


def test_a_posted_inspection_comes_back_judged_and_can_be_read_again(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop)
    posted = api.post("inspections/", document)
    assert posted.status_code == 201, posted.content
    assert posted.json()["verdict"] == "pass"
    read = api.get(f"inspections/{document['id']}/")
    assert read.status_code == 200
    assert read.json() == posted.json()
