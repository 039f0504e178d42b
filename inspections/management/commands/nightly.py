"""Do the night's work now."""

import datetime as dt
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from accounts.instants import instant
from inspections.progress import Progress
from inspections.services.night import NightReport, PartName, run_night
from inspections.tasks import to_other_workers

WORDS: dict[PartName, tuple[str, str]] = {
    "trends": ("Trends", "units fitted"),
    "due_dates": ("Due dates", "installations worked out"),
}


class Command(BaseCommand):
    """`manage.py nightly [--as-of INSTANT]`."""

    help = "Refresh due dates and queue reminders, as of now or of an instant. Safe to run twice."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the instant."""
        parser.add_argument("--as-of", metavar="INSTANT", help="RFC 3339 with offset, such as 2026-11-25T02:00:00Z")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run and say what was done; what failed ends it with an error, once everything else is done."""
        report = run_night(as_of=_as_of(options["as_of"]), hand_out=to_other_workers(), tell=self._tell)
        self.stdout.write(night_sentence(report))
        if report.failed:
            raise CommandError(failure_sentence(report))

    def _tell(self, part: PartName, progress: Progress) -> None:
        # A night of one chunk is over before anybody could read how far it is.
        if progress.done < progress.total:
            self.stderr.write(progress_sentence(part, progress))


def night_sentence(report: NightReport) -> str:
    """Return one line about what a night did."""
    organisations = "1 organisation" if report.organisations == 1 else f"{report.organisations} organisations"
    return (
        f"Night's work: {report.installations} installations in {organisations}, "
        f"{report.trends_fitted} trends fitted, {report.declines_changed} declines changed, "
        f"{report.due_dates_changed} due dates changed, {report.reminders_queued} reminders queued, "
        f"{report.reminders_sent} sent."
    )


def failure_sentence(report: NightReport) -> str:
    """Return one line about what a night could not do."""
    return (
        f"Left undone: {report.trends_failed} trends, {report.due_dates_failed} due dates, "
        f"{report.steps_failed} whole steps. "
        "The reasons stand in the log; the next night tries again."
    )


def progress_sentence(part: PartName, progress: Progress) -> str:
    """Return one line about how far a part of the night is."""
    rate, left_s = progress.per_second, progress.left_s
    pace = "" if rate is None or left_s is None else f", {rate:,.0f} a second, about {left_s:,.0f} s left"
    name, done = WORDS[part]
    return f"{name}: {progress.done:,} of {progress.total:,} {done}{pace}."


def _as_of(text: str | None) -> dt.datetime:
    if text is None:
        return timezone.now()
    try:
        return instant(text)
    except ValueError as error:
        raise CommandError(f"--as-of: {error}") from None
