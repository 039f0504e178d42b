"""Check the record: the audit chain, and every tracked row against its last entry."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from accounts.anchors import Anchor, anchor_of, anchor_text, parsed_anchor
from accounts.audit_check import Checked, check_record
from accounts.audit_sentences import checked_sentence
from accounts.errors import Refused
from accounts.models import Organisation
from accounts.queries import every_organisation, organisation_called


class Command(BaseCommand):
    """`manage.py verify_audit [--organisation SLUG] [--anchor FILE] [--export FILE]`."""

    help = (
        "Check the audit chain and every tracked row against it, of one organisation or of all. Names the first bad "
        "entry and exits with 1 where something does not fit."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the organisation, an anchored head to hold the chain to, and a file to write the head to."""
        parser.add_argument("--organisation", metavar="SLUG")
        parser.add_argument("--anchor", metavar="FILE", type=Path, help="a head exported earlier; needs --organisation")
        parser.add_argument("--export", metavar="FILE", type=Path, help="write the checked head; needs --organisation")

    def handle(self, *args: Any, **options: Any) -> None:
        """Check, say what was found, and export the head of a sound record."""
        organisations = _organisations(options["organisation"])
        if options["organisation"] is None and (options["anchor"] or options["export"]):
            raise CommandError("--anchor and --export are about one organisation: name it with --organisation.")
        anchor = _anchor(options["anchor"])
        checks = [self._check(organisation, anchor) for organisation in organisations]
        if not all(checked.is_sound for checked in checks):
            raise CommandError("The record is not sound.")
        if options["export"]:
            _export(options["export"], organisations[0], checks[0])

    def _check(self, organisation: Organisation, anchor: Anchor | None) -> Checked:
        checked = check_record(organisation, anchor=anchor)
        self.stdout.write(f"{organisation.slug}: {checked_sentence(checked)}")
        return checked


def _organisations(slug: str | None) -> list[Organisation]:
    if slug is None:
        return every_organisation()
    organisation = organisation_called(slug)
    if organisation is None:
        raise CommandError(f"There is no organisation {slug!r}.")
    return [organisation]


def _anchor(path: Path | None) -> Anchor | None:
    if path is None:
        return None
    try:
        return parsed_anchor(path.read_text())
    except (OSError, UnicodeDecodeError, Refused) as error:
        raise CommandError(f"--anchor {path}: {error}") from None


def _export(path: Path, organisation: Organisation, checked: Checked) -> None:
    anchor = anchor_of(
        organisation,
        sequence=checked.sequence,
        hash=checked.hash,
        merkle_root=checked.merkle_root,
        at=timezone.now(),
    )
    try:
        path.write_text(anchor_text(anchor))
    except OSError as error:
        raise CommandError(f"--export {path}: {error}") from None
