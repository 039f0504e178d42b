"""A member of one organisation sees and reaches nothing of another, at any address by any method.

What a stranger is answered about another organisation's row is, but for the id, byte for byte what is answered about a
row that does not exist.  What each address is sent stands in `sealed_bodies`.
"""

import copy
import json
from collections.abc import Iterator
from typing import Any
from uuid import UUID, uuid4

import pytest

from accounts.roles import Role
from tests import builders
from tests.accounts.tenant_tables import fill_every_table, tenant_models
from tests.api.full_house import furnish
from tests.api.routes import METHODS, OF_THE_ORGANISATION, Route, api_routes
from tests.api.sealed_bodies import BODIES, NAMELESS, body_for, entry
from tests.builders import Workshop
from tests.conftest import Api
from tests.naming import name

OPEN_TO_ALL = {"schema/", "docs/"}
WRITES = ("post", "put", "patch", "delete")
REFUSALS = {207, 400, 404}
ANY_ROW = {"If-Match": "*"}


@pytest.fixture
def elsewhere(db: None) -> Workshop:
    """Return the stranger's own organisation, with rows of everything."""
    workshop = builders.workshop()
    furnish(workshop, 1)
    fill_every_table(workshop.organisation)
    return workshop


@pytest.fixture
def stranger(elsewhere: Workshop) -> Api:
    """Return an administrator's client in another organisation."""
    return Api(elsewhere.organisation, Role.ADMINISTRATOR)


@pytest.fixture
def owner(workshop: Workshop) -> Api:
    """Return an administrator's client in the house, whose token has been used before."""
    owner = Api(workshop.organisation, Role.ADMINISTRATOR)
    owner.get("vehicles/")
    return owner


@pytest.fixture
def house(stranger: Api, workshop: Workshop, owner: Api) -> Iterator[Workshop]:
    """Return an organisation with rows of everything; whatever a stranger does, they are the same afterwards."""
    furnish(workshop, 3)
    fill_every_table(workshop.organisation)
    before = every_row_of(workshop)
    yield workshop
    assert every_row_of(workshop) == before


def every_row_of(workshop: Workshop) -> dict[str, list[dict[str, Any]]]:
    name(workshop.organisation)
    return {
        model.__name__: list(model._default_manager.filter(organisation=workshop.organisation).order_by("pk").values())
        for model in tenant_models()
    }


def ids_of(workshop: Workshop) -> set[str]:
    """Return every id by which the outside knows a row of the organisation."""
    rows = [row for table in every_row_of(workshop).values() for row in table]
    return {str(row["uuid"]) for row in rows if "uuid" in row}


def secrets_of(workshop: Workshop) -> list[str]:
    """Return what of an organisation's rows must not be read elsewhere."""
    first = workshop.installation
    names = [first.vehicle.fleet_number, first.vehicle.registration, first.retarder.serial_number]
    return [f'"{each}"' for each in [*names, workshop.ammeter.designation, first.vehicle.depot.name]]


def send(api: Api, method: str, address: str, document: Any = None) -> Any:
    """Send a document, as a form where it holds a file."""
    address, call = f"/api/v1/{address}", getattr(api.client, method)
    if isinstance(document, dict) and any(hasattr(value, "read") for value in document.values()):
        for value in document.values():
            if hasattr(value, "seek"):
                value.seek(0)
        return call(address, document)
    if method in WRITES and document is not None:
        return call(address, json.dumps(document), content_type="application/json", headers=ANY_ROW)
    return call(address)


def without_ids(answer: Any, *ids: object) -> bytes:
    """Return an answer's bytes with the ids that it was asked about taken out."""
    content: bytes = answer.content
    for each in ids:
        content = content.replace(str(each).encode(), b"ID")
    return content


def told(answer: Any, *ids: object) -> tuple[int, bytes, dict[str, str]]:
    """Return all that an answer tells, but for the ids, the request's own number and what follows from lengths."""
    headers = {
        key: value for key, value in answer.items() if key.lower() not in ("x-request-id", "content-length", "etag")
    }
    return answer.status_code, without_ids(answer, *ids), headers


def own_document(method: str, route: Route, of: Workshop) -> Any:
    name(of.organisation)
    return body_for(method, route.pattern)(of) if method in WRITES else None


def test_every_address_that_names_a_row_answers_a_stranger_as_if_it_did_not_exist(
    house: Workshop, stranger: Api, elsewhere: Workshop, owner: Api
) -> None:
    for route in [route for route in api_routes() if route.takes_an_id]:
        name(house.organisation)
        foreign, unknown = route.first_row(house.organisation).uuid, uuid4()
        for method in METHODS:
            document = own_document(method, route, elsewhere) if method in route.methods else {}
            answer = send(stranger, method, route.address(foreign), document)
            assert told(answer, foreign) == told(send(stranger, method, route.address(unknown), document), unknown)
            refused = {404, 412} if method in route.methods else {405}
            assert answer.status_code in refused, (route.pattern, method, answer.content)
        if "get" in route.methods:
            assert owner.get(route.address(foreign)).status_code == 200


def foreign_places(document: Any, foreign: set[str], way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Return the way to each place of a document that holds one of the ids."""
    steps = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    if isinstance(document, str) and document in foreign:
        yield way
    for step, inside in steps:
        yield from foreign_places(inside, foreign, (*way, step))


def with_id(document: Any, way: tuple[Any, ...], identity: object) -> Any:
    """Return the document with another id at one place."""
    # A file is the same in both, and cannot be copied.
    changed = copy.copy(document) if len(way) == 1 else copy.deepcopy(document)
    place = changed
    for step in way[:-1]:
        place = place[step]
    place[way[-1]] = str(identity)
    return changed


def value_at(document: Any, way: tuple[Any, ...]) -> Any:
    for step in way:
        document = document[step]
    return document


def test_an_id_in_a_document_is_refused_at_its_place_as_one_that_does_not_exist(
    house: Workshop, stranger: Api, elsewhere: Workshop
) -> None:
    foreign_ids, naming = ids_of(house), set()
    for route in api_routes():
        for method in sorted(route.methods & set(WRITES)):
            of_the_house = own_document(method, route, house)
            own = own_document(method, route, elsewhere)
            address = (
                route.address(route.first_row(elsewhere.organisation).uuid) if route.takes_an_id else route.address()
            )
            for way in foreign_places(of_the_house, foreign_ids):
                naming.add(entry(method, route.pattern))
                foreign, unknown = value_at(of_the_house, way), uuid4()
                answer = send(stranger, method, address, with_id(own, way, foreign))
                assert answer.status_code in REFUSALS, (route.pattern, way, answer.content)
                place = next(step for step in reversed(way) if isinstance(step, str))
                assert f"/{place}" in answer.content.decode(), (route.pattern, way, answer.content)
                assert told(answer, foreign) == told(
                    send(stranger, method, address, with_id(own, way, unknown)), unknown
                )
    assert set(BODIES) - naming == NAMELESS


def test_every_document_that_is_sent_for_the_walk_belongs_to_an_address() -> None:
    known = {entry(method, route.pattern) for route in api_routes() for method in route.methods & set(WRITES)}
    assert set(BODIES) == known


def foreign_values(house: Workshop) -> dict[str, Any]:
    """Return what each filter of a list would take to find a row of the house."""
    unit, rows = house.installation, every_row_of(house)
    ids: dict[str, UUID] = {model: table[0]["uuid"] for model, table in rows.items() if table and "uuid" in table[0]}
    return {
        "installation": unit.uuid,
        "vehicle": unit.vehicle.uuid,
        "depot": unit.vehicle.depot.uuid,
        "meter": house.ammeter.uuid,
        "inspection": ids["Inspection"],
        "defect": ids["Defect"],
        "in_doubt_of": ids["Calibration"],
        "designation": unit.retarder.retarder_type.designation,
        "fleet_number": unit.vehicle.fleet_number,
        "registration": unit.vehicle.registration,
        "serial_number": unit.retarder.serial_number,
        "vin": unit.vehicle.vin or "1M8GDM9AXKP042788",
    }


# Filters that name no row: states, kinds, days, instants and flags.
ROWLESS = (
    "ChoiceFilter",
    "TypedChoiceFilter",
    "FlagFilter",
    "InstantFilter",
    "DateFilter",
    "DayFilter",
    "NumberFilter",
)


def test_no_list_shows_a_stranger_a_row_and_no_filter_finds_one(
    house: Workshop, stranger: Api, elsewhere: Workshop
) -> None:
    secrets, values = [*secrets_of(house), *ids_of(house)], foreign_values(house)
    for route in [route for route in api_routes() if not route.takes_an_id and "get" in route.methods]:
        content = stranger.get(route.address(), page_size=500).content.decode()
        assert not [secret for secret in secrets if secret in content], route.pattern
        if route.pattern in OPEN_TO_ALL | OF_THE_ORGANISATION:
            continue
        assert stranger.get(route.address()).json()["results"], route.pattern
        for parameter, of_class in route.view_class.filterset_class.base_filters.items():
            if type(of_class).__name__ in ROWLESS:
                continue
            value = values[parameter]
            unknown = uuid4() if isinstance(value, UUID) else "nothing is called so"
            answer = stranger.get(route.address(), **{parameter: value})
            assert answer.json()["results"] == [], (route.pattern, parameter)
            nothing = stranger.get(route.address(), **{parameter: unknown})
            assert told(answer, value) == told(nothing, unknown, str(unknown).replace(" ", "+"))


def test_a_place_in_another_organisations_list_shows_a_stranger_nothing_of_it(
    house: Workshop, stranger: Api, owner: Api
) -> None:
    secrets, followed = [*secrets_of(house), *ids_of(house)], 0
    for route in [route for route in api_routes() if not route.takes_an_id and "get" in route.methods]:
        following = {} if route.pattern in OPEN_TO_ALL else owner.get(route.address(), page_size=1).json()
        if following.get("next"):
            followed += 1
            content = stranger.client.get(following["next"]).content.decode()
            assert not [secret for secret in secrets if secret in content], route.pattern
    assert followed >= 8


def test_the_organisation_itself_sees_its_rows(house: Workshop, owner: Api) -> None:
    content = owner.get("installations/").content.decode()
    assert f'"{house.installation.vehicle.fleet_number}"' in content
