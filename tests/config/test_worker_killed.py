"""A worker killed between claiming a reminder and having it sent: the reminder is not lost, and is sent once."""

import contextlib
import os
import signal
import socketserver
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

ROOT = Path(__file__).parents[2]
MANAGER = "manager@works.test"

# Run in a process of the service itself, on its own database.
PREPARE = f"""
import datetime as dt, django; django.setup()
from accounts.roles import Role
from tests import builders
from inspections.services.night import run_night
from schedules.services import outbox
owner = builders.organisation()
manager = builders.member(owner, Role.MANAGER)
manager.user.email = {MANAGER!r}; manager.user.save()
builders.check_plan(builders.installation(owner))
import inspections.services.night as night
night.send_owed_reminders = lambda: outbox.Delivery(0, 0)
run_night(as_of=dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC))
"""
LAPSE = """
import datetime as dt, django; django.setup()
from accounts.queries import open_organisations
from tests.naming import name
name(open_organisations()[0])
from schedules.models import Reminder
from accounts.outbox import CLAIM_LAPSES_AFTER
claimed = Reminder.objects.filter(sent_at__isnull=True, claimed_at__isnull=False)
print(claimed.update(claimed_at=dt.datetime.now(dt.UTC) - CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)))
"""
SEND = "import django; django.setup()\nfrom schedules.tasks import send_reminders; send_reminders.delay()"
COUNT = """
import django; django.setup()
from accounts.queries import open_organisations
from tests.naming import name
name(open_organisations()[0])
from schedules.models import Reminder
print(Reminder.objects.filter(sent_at__isnull=False).count(), Reminder.objects.count())
"""


class MailServer(socketserver.ThreadingTCPServer):
    """Speaks as much SMTP as one message needs; while `stalled` it takes the message and never answers."""

    allow_reuse_address = True
    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Session)
        self.stalled = threading.Event()
        self.reached = threading.Event()
        self.messages: list[str] = []


class Session(socketserver.StreamRequestHandler):
    """One connection."""

    server: MailServer

    def handle(self) -> None:
        self.wfile.write(b"220 test\r\n")
        for line in self.rfile:
            word = line.split(b" ")[0].strip().upper()
            if word == b"DATA":
                self.wfile.write(b"354 go on\r\n")
                self._take()
            elif word == b"QUIT":
                self.wfile.write(b"221 bye\r\n")
                return
            else:
                self.wfile.write(b"250 ok\r\n")

    def _take(self) -> None:
        lines = []
        for line in self.rfile:
            if line == b".\r\n":
                break
            lines.append(line.decode())
        self.server.reached.set()
        if self.server.stalled.is_set():
            time.sleep(60)
            return
        self.server.messages.append("".join(lines))
        self.wfile.write(b"250 taken\r\n")


@pytest.fixture
def mail_server() -> Iterator[MailServer]:
    with MailServer() as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()


def said(code: str, environment: dict[str, str]) -> str:
    ended = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout.strip()


@contextlib.contextmanager
def worker(environment: dict[str, str], *options: str) -> Iterator[subprocess.Popen[bytes]]:
    """Run a real worker in a process group of its own."""
    command = [sys.executable, "-m", "celery", "-A", "config", "worker", "--loglevel", "WARNING", "--concurrency", "1"]
    process = subprocess.Popen([*command, *options], cwd=ROOT, env=environment, start_new_session=True)
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def until(happened: Callable[[], Any], seconds: float = 60.0) -> None:
    deadline = time.monotonic() + seconds
    while not happened():
        assert time.monotonic() < deadline, "it did not happen"
        time.sleep(0.2)


def test_a_killed_worker_loses_no_reminder_and_none_is_sent_twice(
    process_environment: dict[str, str], mail_server: MailServer
) -> None:
    if not settings.CELERY_BROKER_URL:
        pytest.skip("needs a broker")
    host, port = mail_server.server_address[:2]
    environment = process_environment | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "COILBOOK_SMTP_HOST": str(host),
        "COILBOOK_SMTP_PORT": str(port),
    }
    said(PREPARE, environment)
    mail_server.stalled.set()
    with worker(environment) as first:
        said(SEND, environment)
        assert mail_server.reached.wait(90), "the worker never reached the mail server"
        os.killpg(first.pid, signal.SIGKILL)
    assert said(COUNT, environment) == "0 1"
    mail_server.stalled.clear()
    assert said(LAPSE, environment) == "1"
    with worker(environment):
        said(SEND, environment)
        said(SEND, environment)
        until(lambda: said(COUNT, environment) == "1 1")
    assert len(mail_server.messages) == 1
    assert MANAGER in mail_server.messages[0]
    assert "Message-ID: <" in mail_server.messages[0]
