"""Photos on the page of a defect and of a check: added by a form, shown, withdrawn with a reason."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from accounts.roles import Role
from inspections.models import Defect, Photo
from tests import builders
from tests.api.test_photos import picture
from tests.builders import Workshop
from tests.dashboard.taking import Taker
from tests.naming import name


@pytest.fixture
def defect(workshop: Workshop) -> Defect:
    return builders.defect(workshop)


def add(taker: Taker, defect: Defect, content: bytes) -> None:
    file = SimpleUploadedFile("rotor.jpg", content, "image/jpeg")
    answer = taker.post(f"defects/{defect.uuid}/photos/", photo=file, caption="Blue rotor")
    assert answer.status_code == 302


def page(taker: Taker, defect: Defect) -> str:
    return str(taker.get(f"defects/{defect.uuid}/").content.decode())


def test_a_photo_stands_on_the_page_until_it_is_withdrawn(workshop: Workshop, defect: Defect) -> None:
    taker = Taker(workshop)
    add(taker, defect, picture())
    photo = Photo.objects.get(defect=defect)
    assert 'alt="Blue rotor"' in page(taker, defect)
    assert taker.get(f"photos/{photo.uuid}/")["Content-Type"] == "image/jpeg"
    taker.post(f"photos/{photo.uuid}/withdraw/", reason="")
    assert "Say why the photo is withdrawn." in page(taker, defect)
    taker.post(f"photos/{photo.uuid}/withdraw/", reason="A plate can be read")
    assert 'alt="Blue rotor"' not in page(taker, defect)
    assert taker.get(f"photos/{photo.uuid}/").status_code == 404
    photo.refresh_from_db()
    assert (photo.withdrawn_by, photo.withdrawn_reason) == (taker.member.user, "A plate can be read")


def test_a_file_that_is_no_picture_is_refused_with_its_reason(workshop: Workshop, defect: Defect) -> None:
    taker = Taker(workshop)
    add(taker, defect, b"%PDF-1.7")
    assert "The photo is no JPEG, PNG or WebP." in page(taker, defect)
    assert not Photo.objects.of(workshop.organisation).exists()


def test_a_viewer_sees_photos_and_is_offered_no_form(workshop: Workshop, defect: Defect) -> None:
    add(Taker(workshop), defect, picture())
    seen = page(Taker(workshop, Role.VIEWER), defect)
    assert 'alt="Blue rotor"' in seen
    assert "Add the photo" not in seen
    assert Taker(workshop, Role.VIEWER).post(f"defects/{defect.uuid}/photos/").status_code == 403


def test_a_stranger_finds_neither_the_photo_nor_the_form(workshop: Workshop, defect: Defect) -> None:
    add(Taker(workshop), defect, picture())
    photo = Photo.objects.get(defect=defect)
    stranger = Taker(builders.workshop(), Role.ADMINISTRATOR)
    assert stranger.get(f"photos/{photo.uuid}/").status_code == 404
    assert stranger.post(f"photos/{photo.uuid}/withdraw/", reason="mine").status_code == 404
    assert stranger.post(f"defects/{defect.uuid}/photos/").status_code == 404
    name(workshop.organisation)
    photo.refresh_from_db()
    assert photo.withdrawn_at is None
