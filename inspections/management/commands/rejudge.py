"""Judge stored inspections anew."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.actors import system_actor
from accounts.errors import Refused
from accounts.instants import instant
from accounts.models import Organisation
from accounts.queries import organisation_called
from inspections.corrections import CORRECTION_KEYS
from inspections.models import Inspection
from inspections.services.rejudging import Report, Terms, rejudge


class Command(BaseCommand):
    """`manage.py rejudge --organisation SLUG --reason WHY`."""

    help = "Judge stored inspections anew under the newest ratings; each new judgement stands beside the old one."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take which inspections, why, and under what."""
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--reason", required=True)
        parser.add_argument("--meter", metavar="ID", help="only those read with this meter")
        parser.add_argument("--since", metavar="INSTANT", help="only those performed since, RFC 3339 with offset")
        parser.add_argument("--rule", choices=["guarded", "simple", "max_false_accept"])
        parser.add_argument("--probability", type=float, help="with max_false_accept")
        for key in sorted(CORRECTION_KEYS):
            parser.add_argument(f"--{key.replace('_', '-')}", metavar="NUMBER", help="found error, taken out")

    def handle(self, *args: Any, **options: Any) -> None:
        """Judge anew and say what changed."""
        organisation = organisation_called(options["organisation"])
        if organisation is None:
            raise CommandError(f"There is no organisation {options['organisation']!r}.")
        terms = Terms(
            reason=options["reason"],
            decision_rule=options["rule"],
            max_false_accept_probability=options["probability"],
            corrections={key: options[key] for key in CORRECTION_KEYS if options[key] is not None},
        )
        try:
            report = rejudge(system_actor(organisation, source="command"), _chosen(organisation, options), terms)
        except (Refused, ValueError) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(report_text(report))


def _chosen(organisation: Organisation, options: dict[str, Any]) -> Any:
    chosen = Inspection.objects.of(organisation)
    if options["since"]:
        chosen = chosen.filter(performed_at__gte=instant(options["since"]))
    if options["meter"]:
        chosen = chosen.filter(ammeter__uuid=options["meter"]) | chosen.filter(voltmeter__uuid=options["meter"])
    return chosen


def report_text(report: Report) -> str:
    """Return how many changed class, and how."""
    lines = [f"{report.judged} inspections judged anew, {sum(report.changes.values())} with another verdict."]
    lines += [f"{before} -> {after}: {count}" for (before, after), count in sorted(report.changes.items())]
    return "\n".join(lines)
