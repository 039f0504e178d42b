"""Judge stored inspections anew, as the page does: the same set, which goes on where a run of it was killed."""

from argparse import ArgumentTypeError
from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.actors import system_actor
from accounts.errors import Refused
from accounts.models import DECISION_RULES
from accounts.queries import organisation_called
from accounts.tenancy import organisation_transaction
from inspections.corrections import CORRECTION_KEYS
from inspections.models import Rejudging
from inspections.rejudged_sets import NAMED
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import counted_changes, decided_rejudging, run_rejudging


class Command(BaseCommand):
    """`manage.py rejudge --organisation SLUG --reason WHY`."""

    help = (
        "Judge stored inspections anew under the newest ratings; each new judgement stands beside the old one. Killed "
        "half-way, the set goes on in the background where it stopped."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take which inspections, why, and under what."""
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--reason", required=True)
        for name in NAMED:
            parser.add_argument(f"--{name.replace('_', '-')}", type=UUID, metavar="ID", help="only those of this one")
        parser.add_argument("--revision", type=int, metavar="NUMBER", help="only those judged by this rating revision")
        parser.add_argument("--since", metavar="DAY", help="only those performed since, YYYY-MM-DD")
        parser.add_argument("--until", metavar="DAY", help="only those performed until, YYYY-MM-DD")
        parser.add_argument("--rating", choices=["newest", "as_judged"], default="newest")
        parser.add_argument("--rule", choices=[code for code, _words in DECISION_RULES])
        parser.add_argument("--probability", type=float, help="with max_false_accept")
        parser.add_argument("--tolerance-lower-percent", type=float, metavar="PERCENT")
        parser.add_argument("--tolerance-upper-percent", type=float, metavar="PERCENT")
        for key in sorted(CORRECTION_KEYS):
            flag = f"--{key.replace('_', '-')}"
            parser.add_argument(flag, type=_number, metavar="NUMBER", help="found error, taken out; needs --meter")

    def handle(self, *args: Any, **options: Any) -> None:
        """Judge anew and say what changed."""
        organisation = organisation_called(options["organisation"])
        if organisation is None:
            raise CommandError(f"There is no organisation {options['organisation']!r}.")
        actor = system_actor(organisation, source="command")
        try:
            with organisation_transaction(organisation):
                row = decided_rejudging(actor, selection=_selection(options), terms=_terms(options))
        except (Refused, ValueError) as refusal:
            raise CommandError(str(refusal)) from None
        run_rejudging(organisation, row)
        with organisation_transaction(organisation):
            self.stdout.write(report_text(row) if row.state == "done" else held_elsewhere(row))


def _number(typed: str) -> str:
    try:
        number = Decimal(typed)
    except InvalidOperation:
        raise ArgumentTypeError(f"{typed!r} is no number") from None
    if not number.is_finite():
        raise ArgumentTypeError(f"{typed!r} is no number")
    return typed


def _selection(options: dict[str, Any]) -> dict[str, Any]:
    return {name: options[name] for name in (*NAMED, "revision", "since", "until")}


def _terms(options: dict[str, Any]) -> Terms:
    return Terms(
        reason=options["reason"],
        rating=options["rating"],
        decision_rule=options["rule"],
        max_false_accept_probability=options["probability"],
        tolerance_lower_percent=options["tolerance_lower_percent"],
        tolerance_upper_percent=options["tolerance_upper_percent"],
        corrections={key: options[key] for key in CORRECTION_KEYS if options[key] is not None},
    )


def held_elsewhere(row: Rejudging) -> str:
    """Return who goes on with a set that another runner took between the decision and the claim, and where it shows."""
    return (
        f"Another runner has this set and goes on with it: {row.judged} of {row.total} inspections judged anew so far. "
        f"How far it is stands on the page “Judge anew” and at /api/v1/rejudgings/{row.uuid}/."
    )


def report_text(row: Rejudging) -> str:
    """Return how many changed class, and how."""
    changes = counted_changes(row)
    lines = [f"{row.judged} inspections judged anew, {sum(changes.values())} with another verdict."]
    lines += [f"{before} -> {after}: {count}" for (before, after), count in sorted(changes.items())]
    return "\n".join(lines)
