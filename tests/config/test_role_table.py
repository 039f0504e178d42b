"""Each role, each ability: services, interface, pages and commands give the same answer, and it is the table's."""

import io
import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from accounts.actors import Actor, member_actor
from accounts.errors import NotAllowed
from accounts.models import Member
from accounts.roles import ABILITIES, Ability, Role
from accounts.services.invitations import invite
from accounts.services.names import replace_name
from accounts.services.organisations import add_depot, name_and_place, require_two_step
from api.serializers.submissions import AssessmentSerializer, InspectionSerializer
from inspections.models import Defect
from inspections.services.assess import assess
from inspections.services.defect_life import decide_release
from inspections.services.record import record_inspection
from inspections.services.signing import sign_inspection
from tests import builders, naming
from tests.api.documents import assessment_document
from tests.api.writing import sent
from tests.builders import Workshop, inspection_document
from tests.conftest import Api
from tests.dashboard.taking import SAFE, Taker

RELEASE: dict[str, Any] = {"decision": "isolated", "until": timezone.now().date(), "reason": "dry lead"}
JSON_RELEASE = RELEASE | {"until": RELEASE["until"].isoformat()}
ANOTHER_NAME = {"new_name": "Person 17", "reason": "asked for it"}
BEYOND_THE_ROLE = 403


class Scene:
    """A workshop with something to do for every ability."""

    def __init__(self, workshop: Workshop) -> None:
        """Store a check that waits for a signature, and a defect."""
        self.workshop = workshop
        self.manager = Api(workshop.organisation, Role.MANAGER)

    def check_to_sign(self) -> str:
        document = inspection_document(self.workshop, sign=False)
        assert self.manager.post("inspections/", document).status_code == 201
        return str(document["id"])

    def removed(self) -> Member:
        member = builders.member(self.workshop.organisation)
        Member.objects.filter(pk=member.pk).update(removed_at=timezone.now())
        return member

    def defect(self) -> Defect:
        naming.name(self.workshop.organisation)
        return Defect.objects.get_or_create(
            organisation=self.workshop.organisation,
            installation=self.workshop.installation,
            code="rest_current",
            defaults={"opened_at": timezone.now()},
        )[0]


@pytest.fixture
def scene(workshop: Workshop) -> Scene:
    """Return the scene."""
    return Scene(workshop)


def as_sent(document: dict[str, Any]) -> Any:
    """Return the document as the interface reads it: numbers are decimals."""
    return json.loads(json.dumps(document), parse_float=Decimal)


def parsed(document: dict[str, Any]) -> dict[str, Any]:
    """Return the document as the interface hands it to the service."""
    sent = InspectionSerializer(data=as_sent(document))
    sent.is_valid(raise_exception=True)
    return dict(sent.validated_data)


def assessed(actor: Actor) -> object:
    sent = AssessmentSerializer(data=as_sent(assessment_document()))
    sent.is_valid(raise_exception=True)
    return assess(actor, dict(sent.validated_data))


SERVICES: dict[Ability, list[Callable[[Scene, Actor], object]]] = {
    Ability.READ: [lambda scene, actor: assessed(actor)],
    Ability.CAPTURE: [lambda scene, actor: record_inspection(actor, parsed(inspection_document(scene.workshop)))],
    Ability.SIGN: [lambda scene, actor: sign_inspection(actor, scene.check_to_sign())],  # type: ignore[arg-type]
    Ability.MANAGE: [
        lambda scene, actor: add_depot(actor, name="North", time_zone="Europe/London"),
        lambda scene, actor: decide_release(actor, scene.defect(), **RELEASE),
        lambda scene, actor: invite(actor, name="Somebody", role=Role.VIEWER, answer_at="https://book.test/i/"),
    ],
    Ability.ADMINISTER: [
        lambda scene, actor: require_two_step(actor, required=True),
        lambda scene, actor: name_and_place(actor, name="Works", address="1 Mill Lane"),
        lambda scene, actor: replace_name(scene.removed().user, actor=actor, **ANOTHER_NAME),
    ],
}
INTERFACE: dict[Ability, list[Callable[[Scene, Api], Any]]] = {
    Ability.READ: [
        lambda scene, api: api.get("vehicles/"),
        lambda scene, api: api.post("assessments/", assessment_document()),
    ],
    Ability.CAPTURE: [lambda scene, api: api.post("inspections/", inspection_document(scene.workshop))],
    Ability.SIGN: [lambda scene, api: api.post(f"inspections/{scene.check_to_sign()}/sign/", {})],
    Ability.MANAGE: [
        lambda scene, api: api.post(f"defects/{scene.defect().uuid}/release/", JSON_RELEASE),
        lambda scene, api: sent(api, "patch", "rules/", {"temperature_bounds_c": {"parked": 4.5}}, if_match="*"),
    ],
    # Nothing of the interface needs an administrator.
    Ability.ADMINISTER: [],
}
PAGES: dict[Ability, list[Callable[[Scene, Taker], Any]]] = {
    Ability.READ: [lambda scene, taker: taker.get("today/")],
    Ability.CAPTURE: [
        lambda scene, taker: taker.post(f"check/start/{scene.workshop.installation.uuid}/", **SAFE),
    ],
    Ability.SIGN: [lambda scene, taker: taker.post(f"to-sign/{scene.check_to_sign()}/")],
    Ability.MANAGE: [
        lambda scene, taker: taker.get("people/invite/"),
        lambda scene, taker: taker.get(f"people/{taker.member.uuid}/"),
        lambda scene, taker: taker.get("first-check/"),
    ],
    Ability.ADMINISTER: [
        lambda scene, taker: taker.post("people/two-step/", required="1"),
        lambda scene, taker: taker.post("book/", name="Works", address="1 Mill Lane"),
        lambda scene, taker: taker.get("people/removed/"),
        lambda scene, taker: taker.get(f"people/{scene.removed().uuid}/name/"),
        lambda scene, taker: taker.post(f"people/{scene.removed().uuid}/name/", **ANOTHER_NAME),
    ],
}


def let_in(answer: Any) -> bool:
    """Tell whether the door let the person do it; anything but yes and 403 is a fault of the test."""
    assert answer.status_code in (200, 201, 302, BEYOND_THE_ROLE), answer.content
    return bool(answer.status_code != BEYOND_THE_ROLE)


def done(deed: Callable[[], object]) -> bool:
    try:
        deed()
    except NotAllowed:
        return False
    return True


@pytest.mark.parametrize("ability", Ability)
@pytest.mark.parametrize("role", Role)
def test_every_door_agrees_with_the_table(scene: Scene, role: Role, ability: Ability) -> None:
    organisation, expected = scene.workshop.organisation, ability in ABILITIES[role]
    for service in SERVICES[ability]:
        actor = member_actor(builders.member(organisation, role), source="test")
        assert done(lambda service=service, actor=actor: service(scene, actor)) is expected  # type: ignore[misc]
    organisation.two_step_required = False
    organisation.save(update_fields=["two_step_required"])
    for call in INTERFACE[ability]:
        assert let_in(call(scene, Api(organisation, role))) is expected
    for page in PAGES[ability]:
        assert let_in(page(scene, Taker(scene.workshop, role))) is expected


@pytest.mark.parametrize("role", Role)
def test_a_token_of_the_command_reaches_as_far_as_its_person(scene: Scene, role: Role) -> None:
    member, output = builders.member(scene.workshop.organisation, role), io.StringIO()
    call_command("issue_token", member.user.username, organisation=member.organisation.slug, stdout=output)
    client = Client(headers={"authorization": f"Bearer {output.getvalue().strip()}"})
    document = inspection_document(scene.workshop)
    answer = client.post("/api/v1/inspections/", document, content_type="application/json")
    assert let_in(answer) is (Ability.CAPTURE in ABILITIES[role])


def test_every_ability_has_a_door_to_try() -> None:
    assert set(SERVICES) == set(INTERFACE) == set(PAGES) == set(Ability)
    assert all(SERVICES.values())
    assert all(PAGES.values())
