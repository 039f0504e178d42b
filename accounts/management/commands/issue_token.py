"""Print one bearer token and nothing else."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.errors import NotAllowed
from accounts.services import issue_token


class Command(BaseCommand):
    """`manage.py issue_token USERNAME --organisation SLUG`."""

    help = "Print one bearer token of a member and nothing else on standard output."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the person and the organisation."""
        parser.add_argument("username")
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--name", default="command line", help="what the token is for")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the token."""
        try:
            token = issue_token(
                username=options["username"], organisation=options["organisation"], name=options["name"]
            )
        except NotAllowed as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(token)
