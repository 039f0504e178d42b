"""Photos at the machines' door: sent once, told of, shown to members only, withdrawn with a reason."""

import io
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from accounts.models import AuditEntry
from accounts.roles import Role
from inspections.models import Inspection, Photo
from inspections.pictures import MOST_BYTES
from inspections.services import photos as photo_service
from tests import builders
from tests.builders import Workshop, inspection_document
from tests.conftest import Api


def picture(colour: str = "navy") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (30, 20), colour).save(file, "JPEG")
    return file.getvalue()


def send(api: Api, subject: Any, content: bytes | None = None, **fields: Any) -> Any:
    """Send a photo of an inspection, as a form, unless the fields say otherwise."""
    file = SimpleUploadedFile("../../etc/passwd.php", picture() if content is None else content, "text/html")
    form = {"id": str(uuid4()), "inspection": str(subject.uuid), "caption": "rotor", "photo": file} | fields
    return api.client.post("/api/v1/photos/", {name: value for name, value in form.items() if value is not None})


@pytest.fixture
def check(api: Api, workshop: Workshop) -> Inspection:
    document = inspection_document(workshop)
    assert api.post("inspections/", document).status_code == 201
    return Inspection.objects.of(workshop.organisation).get(uuid=document["id"])


def fault(answer: Any) -> tuple[int, str, str]:
    [only] = answer.json()["errors"]
    return answer.status_code, only["pointer"], only["code"]


def test_a_photo_is_stored_told_of_and_shown(api: Api, check: Inspection) -> None:
    told = send(api, check)
    assert told.status_code == 201, told.content
    body = told.json()
    assert (body["inspection"], body["caption"], body["width_px"], body["height_px"]) == (
        str(check.uuid), "rotor", 30, 20,
    )  # fmt: skip
    assert [row["id"] for row in api.get("photos/", inspection=check.uuid).json()["results"]] == [body["id"]]
    shown = api.get(f"photos/{body['id']}/picture/")
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Content-Disposition"] == f'inline; filename="photo-{body["id"]}.jpg"'
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert Image.open(io.BytesIO(shown.content)).size == (30, 20)
    entry = AuditEntry.objects.filter(organisation=check.organisation).latest("sequence")
    assert (entry.object_type, entry.object_id) == ("photo", Photo.objects.get(uuid=body["id"]).uuid)
    assert "picture" not in (entry.after or {})
    assert (entry.after or {})["caption"] == "rotor"


def test_the_same_file_under_the_same_id_stores_nothing_and_another_one_is_a_conflict(
    api: Api, check: Inspection
) -> None:
    name = str(uuid4())
    assert [send(api, check, id=name).status_code for _again in range(2)] == [201, 200]
    assert send(api, check, picture("red"), id=name).status_code == 409
    assert Photo.objects.of(check.organisation).count() == 1


def test_a_photo_sent_twice_with_one_key_is_answered_once(api: Api, check: Inspection) -> None:
    form = {"id": str(uuid4()), "inspection": str(check.uuid)}
    answers = [
        api.client.post(
            "/api/v1/photos/",
            form | {"photo": SimpleUploadedFile("a.jpg", picture())},
            headers={"idempotency-key": '"one photo"'},
        )
        for _again in range(2)
    ]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].content == answers[1].content


@pytest.mark.parametrize(
    ("fields", "pointer", "code"),
    [
        ({"photo": None}, "#/photo", "required"),
        ({"photo": "words"}, "#/photo", "invalid"),
        ({"id": None}, "#/id", "required"),
        ({"inspection": None}, "#", "belongs_to"),
        ({"defect": str(uuid4())}, "#", "belongs_to"),
        ({"inspection": str(uuid4())}, "#/inspection", "not_found"),
        ({"inspection": None, "defect": str(uuid4())}, "#/defect", "not_found"),
        ({"caption": "x" * 201}, "#/caption", "max_length"),
    ],
)
def test_what_is_wrong_with_a_form_is_named(
    api: Api, check: Inspection, fields: dict[str, Any], pointer: str, code: str
) -> None:
    assert fault(send(api, check, **fields)) == (400, pointer, code)
    assert not Photo.objects.of(check.organisation).exists()


def test_a_file_that_is_no_picture_and_a_body_too_large_are_refused(api: Api, check: Inspection) -> None:
    assert fault(send(api, check, b"<svg/>")) == (400, "#/photo", "not_a_picture")
    assert send(api, check, bytes(MOST_BYTES + 200_000)).status_code == 413


def test_only_so_many_photos_stand_beside_one_check(
    api: Api, check: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photo_service, "MOST_PHOTOS", 2)
    assert [send(api, check).status_code for _each in range(2)] == [201, 201]
    assert fault(send(api, check)) == (400, "#/photo", "too_many")


def test_a_withdrawn_photo_is_shown_no_more_and_stays_in_the_record(api: Api, check: Inspection) -> None:
    name = send(api, check).json()["id"]
    trainee = Api(check.organisation, Role.TRAINEE)
    assert trainee.post(f"photos/{name}/withdraw/", {"reason": "a face"}).status_code == 403
    assert api.post(f"photos/{name}/withdraw/", {"reason": " "}).status_code == 400
    assert api.post(f"photos/{name}/withdraw/", {"reason": "a face"}).json()["withdrawn_reason"] == "a face"
    assert api.get(f"photos/{name}/picture/").status_code == 404
    assert api.post(f"photos/{name}/withdraw/", {"reason": "again"}).status_code == 409
    assert api.get("photos/", withdrawn="false").json()["results"] == []
    assert [row["id"] for row in api.get("photos/", withdrawn="true").json()["results"]] == [name]


def test_roles_decide_who_adds_and_who_sees(api: Api, check: Inspection) -> None:
    viewer = Api(check.organisation, Role.VIEWER)
    assert send(viewer, check).status_code == 403
    name = send(Api(check.organisation, Role.TRAINEE), check).json()["id"]
    assert viewer.get(f"photos/{name}/picture/").status_code == 200


def test_another_organisations_check_is_refused_as_one_that_does_not_exist(api: Api, check: Inspection) -> None:
    stranger = Api(builders.workshop().organisation, Role.ADMINISTRATOR)
    unknown = uuid4()
    theirs, nobodys = send(stranger, check), send(stranger, check, inspection=str(unknown))
    assert theirs.status_code == nobodys.status_code == 400
    assert theirs.content.replace(str(check.uuid).encode(), str(unknown).encode()) == nobodys.content
    name = send(api, check).json()["id"]
    assert stranger.get(f"photos/{name}/picture/").status_code == 404
