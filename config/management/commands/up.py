"""Everything from an empty folder to a running service."""

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from accounts.owner import owner_alias
from accounts.queries import is_empty
from config import serving, starting
from inspections.management.commands.nightly import night_sentence
from inspections.services.demo import DEMO_PASSWORD, DEMO_USERNAMES, demo_is_open, load_demo_fleet
from inspections.services.night_runs import run_night_once


class Command(BaseCommand):
    """`manage.py up [--once] [--host H] [--port N]`."""

    help = "Migrate, load the demo fleet into an empty database, do the night's work once, and serve."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take where to serve, or that nothing is to be served."""
        parser.add_argument("--once", action="store_true", help="stop before serving")
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        """Do it all, and say what was done."""
        if not options["once"]:
            serving.refuse_taken_port(options["host"], options["port"])
        with starting.only_one_start(self.stderr.write):
            self._prepare_database()
        if not options["once"]:
            self._serve(options["host"], options["port"])

    def _prepare_database(self) -> None:
        starting.refuse_newer_database()
        call_command("migrate", database=owner_alias(), verbosity=0, interactive=False)
        if is_empty():
            self.stdout.write("The database is empty: loading the demo fleet (an invented operator) ...")
            self.stdout.write(load_demo_fleet(now=timezone.now()))
        report = run_night_once(as_of=timezone.now())
        self.stdout.write("Night's work: done already this hour." if report is None else night_sentence(report))

    def _serve(self, host: str, port: int) -> None:
        if demo_is_open():
            if host not in serving.LOOPBACK_HOSTS:
                raise CommandError(
                    f"{host} is not this machine alone, and the demo passwords still stand; close the demo first."
                )
            self.stdout.write(f"Demo sign-ins: {', '.join(DEMO_USERNAMES)}; password: {DEMO_PASSWORD}")
        self.stdout.write(f"Coilbook serves on http://{host}:{port}/api/v1/docs/ (stop with Ctrl-C)")
        self.stdout.flush()
        serving.serve(host, port, with_scheduler=not settings.CELERY_BROKER_URL)
