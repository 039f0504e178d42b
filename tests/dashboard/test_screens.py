"""The command that takes the pictures."""

import struct
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from dashboard.management.commands import screens
from tests.dashboard.browsing import CHROMIUM


def test_the_pictures_have_the_widths_they_are_named_by(served_pages: str, tmp_path: Path) -> None:
    call_command("screens", folder=tmp_path, only=["sign-in", "due"], address=served_pages)
    widths = {file.name: struct.unpack(">I", file.read_bytes()[16:20])[0] for file in tmp_path.iterdir()}
    assert widths == {
        "sign-in-390.png": 390,
        "sign-in-1280.png": 1280,
        "due-390.png": 390,
        "due-390-dark.png": 390,
        "due-1280.png": 1280,
        "due-1280-dark.png": 1280,
    }


def test_without_chromium_it_refuses_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screens, "CHROMIUM", CHROMIUM.with_name("no-such-browser"))
    with pytest.raises(CommandError, match="Chromium is missing"):
        call_command("screens")


def test_without_playwright_it_refuses_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(CommandError, match="playwright is missing"):
        call_command("screens")
