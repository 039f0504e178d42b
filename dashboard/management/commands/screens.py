"""Remake docs/screens from the demo book."""

import importlib.util
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from dashboard.screens import CHROMIUM, SCREENS, take_screens
from inspections.services.demo import DEMO_PASSWORD

LONGEST_START_S = 120


class Command(BaseCommand):
    """Serves a fresh demo book, looks at every page with Chromium, and keeps the pictures."""

    help = "Remakes docs/screens/*.png from the demo book; needs Chromium and the Python package playwright."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder, single names, and the address of a demo that is served already."""
        parser.add_argument("--folder", type=Path, default=settings.BASE_DIR / "docs" / "screens")
        parser.add_argument("--only", action="append", choices=["sign-in", *(screen.name for screen in SCREENS)])
        parser.add_argument("--address", help="a demo that is served already")

    def handle(self, *args: Any, folder: Path, only: list[str] | None, address: str | None, **options: Any) -> None:
        """Refuse by name what is missing, then take the pictures."""
        refuse_what_is_missing()
        with nullcontext(address) if address else served_demo() as at:
            for file in take_screens(at, folder, username="demo-manager", password=DEMO_PASSWORD, only=set(only or ())):
                self.stdout.write(str(file))


def refuse_what_is_missing() -> None:
    """Say by name what has to be installed first."""
    if importlib.util.find_spec("playwright") is None:
        raise CommandError("The Python package playwright is missing; it is in requirements/test.txt.")
    if not CHROMIUM.exists():
        raise CommandError(f"Chromium is missing: {CHROMIUM} does not exist; Debian's package is chromium.")


@contextmanager
def served_demo() -> Iterator[str]:
    """Serve a demo book made for the pictures, so that nobody's own book is in them."""
    with tempfile.TemporaryDirectory() as folder, closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{probe.getsockname()[1]}"
        probe.close()
        database = f"sqlite:///{folder}/coilbook.sqlite3"
        environment = os.environ | {
            "COILBOOK_VAR_DIR": folder,
            "COILBOOK_NO_BOOTSTRAP": "1",
            "DATABASE_URL": database,
            "DATABASE_OWNER_URL": database,
            "CELERY_BROKER_URL": "",
        }
        command = [sys.executable, "manage.py", "up", "--port", address.rpartition(":")[2]]
        server = subprocess.Popen(command, cwd=settings.BASE_DIR, env=environment, stdout=subprocess.DEVNULL)  # noqa: S603
        try:
            _wait_for(f"{address}/healthz", server)
            yield address
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(timeout=20)


def _wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + LONGEST_START_S
    while time.monotonic() < until and server.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2):  # noqa: S310
                return
        except OSError:
            time.sleep(0.2)
    raise CommandError("The demo book could not be served.")
