"""Replace a person's name."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.errors import Refused
from accounts.models import User
from accounts.services.names import replace_name


class Command(BaseCommand):
    """`manage.py replace_name USERNAME --with NAME --reason TEXT`."""

    help = (
        "Replace a person's name and forget the old one with their mail address. Their access ends; what they did "
        "stays in the record under the new name, and every hash still fits."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the person, the new name and the reason."""
        parser.add_argument("username")
        parser.add_argument("--with", required=True, metavar="NAME", dest="new_name")
        parser.add_argument("--reason", required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        """Replace it."""
        person = User.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"There is no user {options['username']!r}.")
        try:
            replace_name(person, new_name=options["new_name"], reason=options["reason"])
        except Refused as refused:
            raise CommandError(str(refused)) from None
        self.stdout.write(f"Replaced; the record shows {person} from now on.")
