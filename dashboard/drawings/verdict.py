"""The verdict mark: the chart in small, 28 × 16 px.  Hue says which side of the limit, fill says how sure."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inspections.models import VERDICTS

WORDS: dict[str, "str | Promise"] = dict(VERDICTS)
NOT_CHECKED = _("Not checked")


@dataclass(frozen=True, slots=True)
class VerdictMark:
    """Hue, and where dot and whisker stand beside the ticks at 2 and 18."""

    hue: str
    dot: float | None
    whisker: tuple[float, float]
    solid: bool


MARKS = {
    "pass": VerdictMark("inside", 10, (4.5, 15.5), solid=True),
    "conditional_pass": VerdictMark("inside", 13, (6.5, 21), solid=False),
    "conditional_fail": VerdictMark("outside", 22.5, (15, 28), solid=False),
    "fail": VerdictMark("outside", 24, (20, 28), solid=True),
    "undetermined": VerdictMark("neutral", None, (0, 20), solid=False),
}


def verdict_mark_of(verdict: str | None) -> dict[str, object]:
    """Return the mark and the word of a verdict; without one nothing is drawn and the word says so."""
    if not verdict:
        return {"mark": None, "word": NOT_CHECKED}
    return {"mark": MARKS[verdict], "word": WORDS[verdict]}
