"""What a trend can see, and what flags are worth, in words."""

import math

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from calc.trend import FIRST_DECISION_READING
from inspections.trend_expectations import FlagCounts, TrendPromise

# Why the night has ended a decline.
WHY_ENDED = {
    "subsided": _lazy("the readings since do not bear it out"),
    "level_regained": _lazy("the level is back"),
    "attributed_elsewhere": _lazy("another cause explains it better"),
    "repaired": _lazy("repaired"),
    "meter_effect": _lazy("the test meter read low or high"),
    "series_changed": _lazy("late, replaced or re-judged checks have changed the series"),
}


def promise_sentence(promise: TrendPromise) -> str:
    """Return from when on there is a trend, or the slowest losses that it can show."""
    if promise.slowest is None or promise.checks_per_year is None:
        words = ngettext(
            "Trend starts at check %(first)s; %(count)s is on record.",
            "Trend starts at check %(first)s; %(count)s are on record.",
            promise.checks,
        )
        return words % {"first": FIRST_DECISION_READING, "count": promise.checks}
    values = {
        "pace": f"{promise.checks_per_year:g}",
        "stage": _loss(promise.slowest.one_stage),
        "unit": _loss(promise.slowest.all_stages),
    }
    return (
        _(
            "With these test meters and %(pace)s checks a year, half of the units would show within three years: "
            "%(stage)s in one stage, %(unit)s in all stages at once. Slower losses stay unseen."
        )
        % values
    )


def flags_sentences(counts: FlagCounts) -> list[str]:
    """Return how many flags chance alone brings, and the look the other way round as a check of the method."""
    values = {
        "units": counts.installations,
        "falling": f"{counts.by_chance.falling:.2g}",
        "rising": f"{counts.by_chance.rising:.2g}",
        "fell": counts.falling,
        "rose": counts.rising,
    }
    return [
        _(
            "Of %(units)s fitted units about %(falling)s a year are flagged as falling by chance alone, although "
            "they are healthy. In the last twelve months %(fell)s were flagged."
        )
        % values,
        _(
            "Rising current is looked for in the same way: %(rose)s flagged as rising, about %(rising)s expected by "
            "chance. Many more would mean that the flags deserve less trust, or that turns are shorting."
        )
        % values,
    ]


def _loss(percent_per_year: float) -> str:
    if math.isinf(percent_per_year):
        return _("no loss at all")
    return _("a loss of %(speed)s %% a year") % {"speed": f"{percent_per_year:.1f}"}
