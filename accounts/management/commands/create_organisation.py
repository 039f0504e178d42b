"""Make an empty organisation with its first administrator."""

import os
from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.errors import Conflict
from accounts.models import User
from accounts.services import create_organisation

PASSWORD_VARIABLE = "COILBOOK_ADMINISTRATOR_PASSWORD"  # noqa: S105


class Command(BaseCommand):
    """`manage.py create_organisation SLUG --administrator USERNAME`."""

    help = (
        "Make an empty organisation with its first administrator. The password of a new user is asked for, "
        f"or read from {PASSWORD_VARIABLE}."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the organisation and the person."""
        parser.add_argument("slug")
        parser.add_argument("--name", help="its full name; the slug where none is given")
        parser.add_argument("--administrator", required=True, metavar="USERNAME")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make both and say so."""
        slug, username = options["slug"], options["administrator"]
        try:
            create_organisation(
                slug=slug, name=options["name"] or slug, administrator=username, password=_password(username)
            )
        except (Conflict, ValidationError) as refusal:
            reasons = refusal.messages if isinstance(refusal, ValidationError) else [str(refusal)]
            raise CommandError(" ".join(reasons)) from None
        self.stdout.write(f"Organisation {slug} is there; {username} is its administrator.")


def _password(username: str) -> str | None:
    if User.objects.filter(username=username).exists():
        return None
    return os.environ.get(PASSWORD_VARIABLE) or getpass(f"Password for the new user {username}: ")
