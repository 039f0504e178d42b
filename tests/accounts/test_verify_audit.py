"""The command that checks the record: what it says, how it exits, and the head it exports and is held to."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from accounts.actors import member_actor
from accounts.models import AuditHead, Depot, Organisation, User
from accounts.services.organisations import add_depot, create_organisation
from tests.naming import name


@pytest.fixture
def quarry(db: None) -> Organisation:
    """Return an organisation whose rows were all written by services."""
    User.objects.create(username="ada")
    organisation, administrator = create_organisation(slug="quarry", name="Quarry", administrator="ada", password=None)
    name(organisation)
    add_depot(member_actor(administrator, source="test"), name="North", time_zone="Europe/London")
    return organisation


def verify(*arguments: Any) -> str:
    said = StringIO()
    call_command("verify_audit", *map(str, arguments), stdout=said)
    return said.getvalue()


def test_a_sound_record_is_said_to_be_sound_with_its_head(quarry: Organisation) -> None:
    head = AuditHead.objects.get(organisation=quarry)
    said = verify("--organisation", "quarry")
    assert said.startswith("quarry: Sound: 3 entries, and 3 rows")
    assert head.hash in said
    assert verify() == said


def test_a_row_changed_past_the_services_fails_the_command_and_is_named(quarry: Organisation) -> None:
    depot = Depot.objects.get(organisation=quarry)
    Depot.objects.filter(pk=depot.pk).update(time_zone="Europe/Berlin")
    said = StringIO()
    with pytest.raises(CommandError):
        call_command("verify_audit", stdout=said)
    assert "entry 3" in said.getvalue()
    assert str(depot.uuid) in said.getvalue()
    assert "time_zone" in said.getvalue()


def test_an_exported_head_holds_later_and_not_in_another_organisation(quarry: Organisation, tmp_path: Path) -> None:
    file = tmp_path / "head.json"
    verify("--organisation", "quarry", "--export", file)
    anchor = json.loads(file.read_text())
    assert (anchor["organisation"], anchor["sequence"]) == (str(quarry.uuid), 3)
    verify("--organisation", "quarry", "--anchor", file)
    create_organisation(slug="pit", name="Pit", administrator="ada", password=None)
    with pytest.raises(CommandError):
        verify("--organisation", "pit", "--anchor", file)
    file.write_text(json.dumps(anchor | {"sequence": 4}))
    with pytest.raises(CommandError):
        verify("--organisation", "quarry", "--anchor", file)
    file.write_text(json.dumps(anchor | {"hash": "0" * 64}))
    with pytest.raises(CommandError):
        verify("--organisation", "quarry", "--anchor", file)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"organisation": 1}', "\x00"])
def test_a_file_that_is_no_head_is_refused_by_name(quarry: Organisation, tmp_path: Path, text: str) -> None:
    file = tmp_path / "head.json"
    file.write_text(text)
    with pytest.raises(CommandError, match=r"head\.json"):
        verify("--organisation", "quarry", "--anchor", file)


def test_arguments_that_do_not_go_together_are_refused(quarry: Organisation, tmp_path: Path) -> None:
    for arguments in (["--anchor", tmp_path / "a"], ["--export", tmp_path / "a"], ["--organisation", "nobody"]):
        with pytest.raises(CommandError):
            verify(*arguments)
    with pytest.raises(CommandError):
        verify("--organisation", "quarry", "--export", tmp_path / "missing" / "a")


def test_the_check_goes_in_chunks_and_says_how_far_it_is(quarry: Organisation, monkeypatch: pytest.MonkeyPatch) -> None:
    from accounts import audit_check

    monkeypatch.setattr(audit_check, "CHUNK", 2)
    told: list[int] = []
    assert audit_check.check_record(quarry, progress=told.append).is_sound
    assert told == [2, 3]
