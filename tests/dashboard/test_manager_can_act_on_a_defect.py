"""A defect's life from its page: released, told, repaired or let be, and closed in the list with by whom."""

from typing import Any

import pytest

from accounts.roles import Role
from inspections.models import Defect
from tests import builders
from tests.builders import Workshop
from tests.dashboard.taking import Taker
from tests.naming import name

RELEASE = {"step": "release", "decision": "isolated", "until": "2026-05-01", "reason": "Flat route only"}
REPAIR = {"step": "repair", "done": "Fuse renewed", "parts": "fuse\n\nholder", "cause": "blown_fuse"}
UNNECESSARY = {"step": "repair-unnecessary", "reason": "Read at the wrong output"}


@pytest.fixture
def defect(workshop: Workshop) -> Defect:
    return builders.defect(workshop)


def page(taker: Taker, defect: Defect) -> str:
    return str(taker.get(f"defects/{defect.uuid}/").content.decode())


def step(taker: Taker, defect: Defect, fields: dict[str, str]) -> Any:
    answer = taker.post(f"defects/{defect.uuid}/", **fields)
    name(defect.organisation)
    defect.refresh_from_db()
    return answer


def test_a_release_is_decided_and_hangs_in_the_cab(workshop: Workshop, defect: Defect) -> None:
    manager = Taker(workshop, Role.MANAGER)
    assert manager.get(f"defects/{defect.uuid}/notice/").status_code == 404
    assert step(manager, defect, RELEASE).status_code == 302
    assert (defect.release_decision, defect.released_by) == ("isolated", manager.member.user)
    notice = manager.get(f"defects/{defect.uuid}/notice/").content.decode()
    for words in ("retarder isolated, driver told", "1 May 2026", str(manager.member.user), "Flat route only"):
        assert words in notice
    assert "Do not count on the retarder" in notice
    assert "retarder isolated, driver told until 1 May 2026: Flat route only" in page(manager, defect)


def test_the_driver_is_told_by_name(workshop: Workshop, defect: Defect) -> None:
    step(Taker(workshop, Role.TRAINEE), defect, {"step": "driver-told", "driver": "Jo on the early shift"})
    assert defect.driver_told_at is not None
    assert "Jo on the early shift" in page(Taker(workshop), defect)


def test_a_repair_is_recorded_with_its_parts_and_cause(workshop: Workshop, defect: Defect) -> None:
    taker = Taker(workshop)
    assert step(taker, defect, REPAIR).status_code == 302
    assert (defect.state, defect.confirmed_cause) == ("repaired", "blown_fuse")
    assert defect.steps.get().details["parts"] == ["fuse", "holder"]
    assert "Fuse renewed; fuse, holder; fuse open" in page(taker, defect)


def test_a_closed_defect_says_in_the_list_when_by_whom_and_why_and_takes_no_more_steps(
    workshop: Workshop, defect: Defect
) -> None:
    manager = Taker(workshop, Role.MANAGER)
    assert f'href="/{workshop.organisation.slug}/defects/{defect.uuid}/"' in manager.get("defects/").content.decode()
    step(manager, defect, UNNECESSARY)
    assert defect.closed_at is not None
    closed = manager.get("defects/?state=closed").content.decode()
    assert f"by {manager.member.user}</span>: Read at the wrong output" in closed
    assert 'name="step"' not in page(manager, defect)
    again = manager.client.post(manager.address(f"defects/{defect.uuid}/"), REPAIR, follow=True)
    assert "The defect is closed already." in again.content.decode()


@pytest.mark.parametrize("missing", ["until", "reason"])
def test_a_release_without_an_end_or_a_reason_is_refused_at_its_field(
    workshop: Workshop, defect: Defect, missing: str
) -> None:
    answer = step(Taker(workshop, Role.MANAGER), defect, RELEASE | {missing: ""})
    sent = next(each["form"] for each in answer.context["forms"] if each["name"] == "release")
    assert list(sent.errors) == [missing]
    assert defect.release_decision == ""


@pytest.mark.parametrize(
    ("role", "offered"),
    [
        (Role.VIEWER, []),
        (Role.TRAINEE, ["driver-told"]),
        (Role.TECHNICIAN, ["driver-told", "repair"]),
        (Role.MANAGER, ["release", "driver-told", "repair", "repair-unnecessary"]),
    ],
)
def test_each_role_is_offered_what_it_may_do_and_nothing_else_is_taken(
    workshop: Workshop, defect: Defect, role: Role, offered: list[str]
) -> None:
    taker = Taker(workshop, role)
    assert [each["name"] for each in taker.get(f"defects/{defect.uuid}/").context["forms"]] == offered
    if role != Role.MANAGER:
        assert step(taker, defect, UNNECESSARY).status_code == 403
        assert defect.closed_at is None


def test_a_defect_of_another_book_is_not_found(workshop: Workshop, defect: Defect) -> None:
    stranger = Taker(workshop, Role.MANAGER, of=builders.organisation())
    assert stranger.get(f"defects/{defect.uuid}/").status_code == 404
    assert step(stranger, defect, UNNECESSARY).status_code == 404
