"""Which check the due date is counted from, said where a later one does not count."""

from collections.abc import Iterable

from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from dashboard.unit_words import DAY
from fleet.models import Installation
from inspections.models import Inspection
from inspections.queries import INSIDE_LIMITS
from schedules.models import DueDate


def counting_sentence(unit: Installation, due: DueDate | None, checks: Iterable[Inspection]) -> str:
    """Return why the newest check does not count and which one does; nothing where the newest one counts.

    `checks` are those of the vehicle, newest first.
    """
    standing = (check for check in checks if check.installation_id == unit.pk and check.superseded_by_id is None)
    newest = next(standing, None)
    if newest is None or _counts(newest, due):
        return ""
    why = _("not signed") if newest.signed_at is None else str(newest.get_verdict_display()).lower()
    words = {"newest": date_format(newest.performed_on, DAY), "why": why}
    later = _("the check of %(newest)s does not count: %(why)s.") % words
    if due is None or due.last_check_on is None:
        return capfirst(later)
    counted = {"on": date_format(due.last_check_on, DAY), "later": later}
    return _("Last check that counts %(on)s; %(later)s") % counted


def _counts(check: Inspection, due: DueDate | None) -> bool:
    # Some plans count only checks that are inside limits for certain; the stored due date knows which one it took.
    passed_over = due is not None and due.last_check_on is not None and check.performed_on > due.last_check_on
    return check.signed_at is not None and check.verdict in INSIDE_LIMITS and not passed_over
