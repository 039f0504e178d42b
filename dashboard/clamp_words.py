"""How a clamp reads beside the others, or otherwise than before, in words."""

import datetime as dt
from collections.abc import Collection
from typing import Any

from django.template.defaultfilters import floatformat
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from accounts.models import Organisation
from inspections.clamp_doubts import ClampDoubt
from inspections.step_doubts import StepDoubt, doubts_by_unit, step_doubts

DAY = "j M Y"
# A standard uncertainty times this is printed.
COVERAGE_FACTOR = 2
DOUBTS_SHOWN = 3

# Low and high, by whether its time begins with a step, and how it ends.
OPEN, CALIBRATED, STEPPED = range(3)
HEADINGS = {
    (False, OPEN): (_lazy("Reads low beside the other clamps"), _lazy("Reads high beside the other clamps")),
    (False, CALIBRATED): (
        _lazy("Read low until its calibration on %(until)s"),
        _lazy("Read high until its calibration on %(until)s"),
    ),
    (False, STEPPED): (_lazy("Read low until about %(until)s"), _lazy("Read high until about %(until)s")),
    (True, OPEN): (_lazy("Reads low since about %(since)s"), _lazy("Reads high since about %(since)s")),
    (True, CALIBRATED): (
        _lazy("Read low from about %(since)s until its calibration on %(until)s"),
        _lazy("Read high from about %(since)s until its calibration on %(until)s"),
    ),
    (True, STEPPED): (
        _lazy("Read low from about %(since)s until about %(until)s"),
        _lazy("Read high from about %(since)s until about %(until)s"),
    ),
}

# The same of a step that no other clamp corroborates: it does not say that the clamp is the cause.
UNCORROBORATED = {
    OPEN: (_lazy("Shows less since about %(since)s"), _lazy("Shows more since about %(since)s")),
    CALIBRATED: (
        _lazy("Showed less from about %(since)s until its calibration on %(until)s"),
        _lazy("Showed more from about %(since)s until its calibration on %(until)s"),
    ),
    STEPPED: (
        _lazy("Showed less from about %(since)s until about %(until)s"),
        _lazy("Showed more from about %(since)s until about %(until)s"),
    ),
}


def doubt_heading(doubt: ClampDoubt) -> str:
    """Return that it reads low or high, or shows less or more, from when on and until when."""
    ending = OPEN if doubt.before_on is None else STEPPED if doubt.found_until else CALIBRATED
    low, high = HEADINGS[doubt.found_since, ending] if doubt.corroborated else UNCORROBORATED[ending]
    return (low if doubt.reads_low else high) % {"since": _day(doubt.from_on), "until": _day(doubt.before_on)}


def doubt_sentence(doubt: ClampDoubt) -> str:
    """Return by how much, beside what, and on what that rests."""
    values = {
        "size": floatformat(doubt.size_percent, 1),
        "expanded": floatformat((doubt.u_percent or 0) * COVERAGE_FACTOR, 1),
        "factor": COVERAGE_FACTOR,
        "visits": doubt.visits,
        "on": _day(doubt.measured_at.date()),
        "since": _day(doubt.from_on),
    }
    if not doubt.corroborated:
        return _only_a_doubt(doubt) % values
    if doubt.found_since:
        return _found_by_comparison(doubt) % values
    words = (
        _(
            "%(size)s %% less than the other clamps on units that several have read, over %(visits)s checks, "
            "as of %(on)s."
        )
        if doubt.reads_low
        else _(
            "%(size)s %% more than the other clamps on units that several have read, over %(visits)s checks, "
            "as of %(on)s."
        )
    )
    if doubt.from_on is not None:
        words += " " + _("Counted since its calibration on %(since)s.")
    return words % values


def unit_doubt_sentence(each: StepDoubt) -> str:
    """Return in short that the clamp may be the cause or the units, for a list of units."""
    doubt = each.doubt
    values = {"clamp": each.clamp.designation, "since": _day(doubt.from_on), "until": _day(doubt.before_on)}
    return _shows_otherwise(doubt) % values


def step_doubt_sentences(organisation: Organisation) -> dict[str, Any]:
    """Return the newest doubts that nothing has ended, each with its clamp, and how many more there are."""
    unended = [each for each in step_doubts(organisation) if each.doubt.before_on is None]
    shown = [(each.clamp, unit_doubt_sentence(each)) for each in unended[:DOUBTS_SHOWN]]
    return {"shown": shown, "more": len(unended) - len(shown)}


def unit_doubt_sentences(organisation: Organisation, units: Collection[int]) -> dict[int, list[str]]:
    """Return what is said of clamps in doubt beside each unit that was read with one, by the keys of the retarders."""
    by_unit = doubts_by_unit(step_doubts(organisation), units)
    return {unit: [unit_doubt_sentence(each) for each in doubts] for unit, doubts in by_unit.items()}


def _shows_otherwise(doubt: ClampDoubt) -> str:
    if doubt.before_on is not None:
        return (
            _(
                "From about %(since)s until %(until)s most units read with %(clamp)s showed less than before: "
                "the clamp or the units."
            )
            if doubt.reads_low
            else _(
                "From about %(since)s until %(until)s most units read with %(clamp)s showed more than before: "
                "the clamp or the units."
            )
        )
    words = (
        _("Since about %(since)s most units read with %(clamp)s show less than before: the clamp or the units.")
        if doubt.reads_low
        else _("Since about %(since)s most units read with %(clamp)s show more than before: the clamp or the units.")
    )
    return f"{words} {_('Read a few of them with another clamp.')}"


def _found_by_comparison(doubt: ClampDoubt) -> str:
    words = (
        _(
            "%(size)s %% ± %(expanded)s %% (k = %(factor)s) less since about %(since)s than the median of the clamps "
            "on the same units, itself until then among them, over %(visits)s checks, as of %(on)s."
        )
        if doubt.reads_low
        else _(
            "%(size)s %% ± %(expanded)s %% (k = %(factor)s) more since about %(since)s than the median of the clamps "
            "on the same units, itself until then among them, over %(visits)s checks, as of %(on)s."
        )
    )
    return f"{words} {_not_on_file()} {_('What other clamps read on these units since says that it is the clamp.')}"


def _only_a_doubt(doubt: ClampDoubt) -> str:
    words = (
        _(
            "Units read with it show %(size)s %% ± %(expanded)s %% (k = %(factor)s) less since about %(since)s than "
            "when it read them before, over %(visits)s checks, as of %(on)s."
        )
        if doubt.reads_low
        else _(
            "Units read with it show %(size)s %% ± %(expanded)s %% (k = %(factor)s) more since about %(since)s than "
            "when it read them before, over %(visits)s checks, as of %(on)s."
        )
    )
    causes = (
        _("it may read low since, or have read high before, or the units may have lost current.")
        if doubt.reads_low
        else _("it may read high since, or have read low before, or the units may have gained current.")
    )
    unknown = _("What other clamps have read on these units since does not tell why:")
    return f"{words} {_not_on_file()} {unknown} {causes} " + _(
        "Nothing is taken out of the trends for it, and no decline is withdrawn."
    )


def _not_on_file() -> str:
    return _("Found by comparison: no calibration is on file about that day.")


def _day(on: dt.date | None) -> str:
    return "" if on is None else date_format(on, DAY)
