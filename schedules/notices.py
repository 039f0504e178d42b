"""What a reminder says, in the language of the moment."""

from django.utils.translation import gettext as _

from schedules.models import Reminder


def notice_subject(reminder: Reminder) -> str:
    """Return the one line that has to be enough; a line break in a vehicle's name starts no header of its own."""
    sentences = {
        "in_notice": _("%(vehicle)s: retarder check due on %(due)s"),
        "due": _("%(vehicle)s: retarder check due today"),
        "overdue": _("%(vehicle)s: retarder check overdue since %(due)s"),
    }
    return " ".join((sentences[reminder.lead_stage] % _names(reminder)).split())


def notice_body(reminder: Reminder) -> str:
    """Return the whole message; its first line says whether it is the first."""
    first_lines = {
        "in_notice": _("First notice."),
        "due": _("Second notice: due today."),
        "overdue": _("Last notice: overdue."),
    }
    lines = [
        first_lines[reminder.lead_stage],
        "",
        _("Vehicle %(vehicle)s, registration %(registration)s, %(depot)s.") % _names(reminder),
        _("Retarder %(designation)s, serial number %(serial)s.") % _names(reminder),
        _("The next check is due on %(due)s.") % _names(reminder),
        "",
        _(
            "This is about when a check is due, not a statement that a vehicle is safe or lawful: follow the maker's "
            "instructions, local codes, and licensed practice."
        ),
    ]
    return "\n".join(lines)


def _names(reminder: Reminder) -> dict[str, str]:
    installation = reminder.installation
    return {
        "vehicle": installation.vehicle.fleet_number,
        "registration": installation.vehicle.registration or "–",
        "depot": installation.vehicle.depot.name,
        "designation": installation.retarder.retarder_type.designation,
        "serial": installation.retarder.serial_number,
        "due": reminder.due_on.isoformat(),
    }
