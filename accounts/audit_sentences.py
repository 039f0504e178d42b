"""What a check of the record found, in a sentence."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from accounts.audit_check import BadEntry, Checked

BAD_ENTRIES = {
    "missing": gettext_lazy("Entry %(sequence)s is missing."),
    "out_of_place": gettext_lazy("Entry %(sequence)s does not follow from the entry before it."),
    "altered": gettext_lazy("Entry %(sequence)s was altered after it was written."),
    "row_differs": gettext_lazy("What entry %(sequence)s tells of has other content now."),
    "row_missing": gettext_lazy("What entry %(sequence)s tells of is no longer there."),
    "row_there_again": gettext_lazy("What entry %(sequence)s tells the deletion of is there."),
    "off_the_anchor": gettext_lazy("Entry %(sequence)s is not the one that the anchored head names."),
    "cut_off_before_the_anchor": gettext_lazy(
        "The chain ends before the anchored head: entry %(sequence)s and what followed are missing."
    ),
    "cut_off": gettext_lazy("The chain ends before its head: entry %(sequence)s and what followed are missing."),
    "head_differs": gettext_lazy("The chain does not end with its head; entry %(sequence)s would be the next."),
    "beyond_the_head": gettext_lazy("Entry %(sequence)s lies beyond the head of the chain."),
    "untold": gettext_lazy("There is a row that no entry tells of."),
    "anchor_of_another": gettext_lazy("The anchored head is of another organisation."),
}


def bad_entry_sentence(bad: BadEntry) -> str:
    """Return what does not fit, where, and in which columns as far as that is known."""
    sentence = str(BAD_ENTRIES[bad.code]) % {"sequence": bad.sequence}
    if bad.object_id is not None:
        sentence += " " + _("It is about %(kind)s %(id)s.") % {"kind": bad.object_type, "id": bad.object_id}
    if bad.columns:
        sentence += " " + _("Different: %(columns)s.") % {"columns": ", ".join(bad.columns)}
    return sentence


def checked_sentence(checked: Checked) -> str:
    """Return one line about a check."""
    if checked.bad is not None:
        return bad_entry_sentence(checked.bad)
    return _("Sound: %(entries)s entries, and %(rows)s rows as their last entries say. Head %(sequence)s %(hash)s") % {
        "entries": checked.entries,
        "rows": checked.rows,
        "sequence": checked.sequence,
        "hash": checked.hash,
    }
