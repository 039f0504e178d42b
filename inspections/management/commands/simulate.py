"""Make a simulated fleet."""

import datetime as dt
import json
from argparse import BooleanOptionalAction
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from accounts.errors import Conflict
from inspections.services.simulating import simulate_fleet
from inspections.simulation.planted import PlantedFleet, truth_document


class Command(BaseCommand):
    """`manage.py simulate --organisation SLUG --installations N --inspections M --seed S --until DATE`."""

    help = "Make a physically simulated fleet in an organisation of its own, and write its true condition to a file."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take whose, how large, and where the truth goes."""
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--installations", required=True, type=int, metavar="N")
        parser.add_argument("--inspections", required=True, type=int, metavar="M", help="checks of each installation")
        parser.add_argument("--seed", required=True, type=int, metavar="S")
        parser.add_argument("--until", required=True, metavar="DATE", help="day of the last checks, such as 2026-11-25")
        parser.add_argument(
            "--calibration-on-file",
            action=BooleanOptionalAction,
            default=True,
            help="whether the clamp that turns low halfway comes back from a calibration, or only comparison can tell",
        )
        parser.add_argument("--truth", type=Path, metavar="FILE", help="write what is true of the fleet to FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the fleet and say what was made."""
        for name in ("installations", "inspections"):
            if options[name] < 1:
                raise CommandError(f"--{name}: {options[name]} is not a number from 1 on")
        if options["seed"] < 0:
            raise CommandError(f"--seed: {options['seed']} is not a number from 0 on")
        names = ("installations", "inspections", "seed")
        fleet = PlantedFleet(
            **{name: options[name] for name in names},
            until=_day(options["until"]),
            calibration_on_file=options["calibration_on_file"],
        )
        try:
            made = simulate_fleet(fleet, slug=options["organisation"], tell=self._tell)
        except (Conflict, ValidationError) as refusal:
            raise CommandError(f"--organisation: {refusal}") from None
        self.stdout.write(
            f"{options['organisation']}: {options['installations']} simulated installations with "
            f"{options['inspections']} checks each. Give {options['organisation']}-administrator a password "
            "with the command changepassword."
        )
        if options["truth"] is not None:
            _write(options["truth"], {**made, **truth_document(fleet)})

    def _tell(self, done: int, total: int) -> None:
        if done < total:
            self.stderr.write(f"{done:,} of {total:,} checks recorded.")


def _day(text: str) -> dt.date:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--until: {text!r} is not a date such as 2026-11-25") from None
    if day > timezone.now().date():
        raise CommandError(f"--until: {text} is in the future")
    return day


def _write(path: Path, truth: dict[str, Any]) -> None:
    try:
        path.write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise CommandError(f"--truth: {error}") from None
