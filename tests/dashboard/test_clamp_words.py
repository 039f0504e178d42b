"""What is said of a clamp that reads otherwise than the others, by where its time begins and ends."""

import datetime as dt
from typing import Any

import pytest

from dashboard.clamp_words import doubt_heading, doubt_sentence, unit_doubt_sentence
from inspections.clamp_doubts import ClampDoubt
from inspections.models import Meter
from inspections.step_doubts import StepDoubt

FROM, BEFORE = dt.date(2026, 3, 2), dt.date(2026, 9, 1)
STEP = {"from_on": FROM, "found_since": True}


def doubt(**changes: Any) -> ClampDoubt:
    measured_at = dt.datetime(2026, 11, 2, tzinfo=dt.UTC)
    usual = {"effect_percent": -2.46, "u_percent": 0.2, "visits": 40, "from_on": None, "before_on": None}
    return ClampDoubt(meter_id=1, measured_at=measured_at, **usual | changes)


@pytest.mark.parametrize(
    ("changes", "heading"),
    [
        ({}, "Reads low beside the other clamps"),
        ({"from_on": FROM}, "Reads low beside the other clamps"),
        ({"before_on": BEFORE}, "Read low until its calibration on 1 Sep 2026"),
        ({"before_on": BEFORE, "found_until": True}, "Read low until about 1 Sep 2026"),
        (STEP, "Reads low since about 2 Mar 2026"),
        ({**STEP, "before_on": BEFORE}, "Read low from about 2 Mar 2026 until its calibration on 1 Sep 2026"),
        ({**STEP, "before_on": BEFORE, "found_until": True}, "Read low from about 2 Mar 2026 until about 1 Sep 2026"),
    ],
)
def test_the_heading_never_calls_a_step_a_calibration(changes: dict[str, Any], heading: str) -> None:
    assert doubt_heading(doubt(**changes)) == heading
    high = heading.replace("low", "high")
    assert doubt_heading(doubt(**changes, effect_percent=2.46)) == high


@pytest.mark.parametrize(
    ("changes", "heading"),
    [
        ({}, "Shows less since about 2 Mar 2026"),
        ({"before_on": BEFORE}, "Showed less from about 2 Mar 2026 until its calibration on 1 Sep 2026"),
        ({"before_on": BEFORE, "found_until": True}, "Showed less from about 2 Mar 2026 until about 1 Sep 2026"),
    ],
)
def test_of_a_step_that_no_other_clamp_bears_out_the_clamp_is_not_said_to_read_low(
    changes: dict[str, Any], heading: str
) -> None:
    only = {**STEP, "corroborated": False, **changes}
    assert doubt_heading(doubt(**only)) == heading
    assert doubt_heading(doubt(**only, effect_percent=2.46)) == heading.replace("less", "more")


def test_the_sentence_says_what_it_rests_on_and_what_it_cannot_tell() -> None:
    found = doubt_sentence(doubt(**STEP))
    assert found.startswith("2.5 % ± 0.4 % (k = 2) less since about 2 Mar 2026 than the median of the clamps")
    assert "Found by comparison: no calibration is on file about that day." in found
    assert "says that it is the clamp" in found
    calibrated = doubt_sentence(doubt(from_on=FROM))
    assert calibrated.endswith("as of 2 Nov 2026. Counted since its calibration on 2 Mar 2026.")
    assert "comparison" not in calibrated
    assert doubt_sentence(doubt(effect_percent=1.0, **STEP)).startswith("1.0 % ± 0.4 % (k = 2) more since")


def test_a_doubt_names_every_cause_and_that_nothing_is_made_of_it() -> None:
    found = doubt_sentence(doubt(**STEP, corroborated=False))
    assert found.startswith("Units read with it show 2.5 % ± 0.4 % (k = 2) less since about 2 Mar 2026 than when it")
    assert "it may read low since, or have read high before, or the units may have lost current." in found
    assert "Nothing is taken out of the trends for it, and no decline is withdrawn." in found
    short = unit_doubt_sentence(StepDoubt(Meter(designation="Clamp 2"), doubt(**STEP, corroborated=False)))
    assert short == (
        "Since about 2 Mar 2026 most units read with Clamp 2 show less than before: the clamp or the units. "
        "Read a few of them with another clamp."
    )
