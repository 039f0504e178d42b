"""What a trend can see, and what flags are worth, as the pages say it."""

import math

from calc.trend import ChanceFlags, SlowestLoss
from dashboard.trend_words import flags_sentences, promise_sentence
from inspections.trend_expectations import FlagCounts, TrendPromise


def test_before_the_fourth_check_the_page_says_when_the_trend_starts() -> None:
    assert promise_sentence(TrendPromise(1)) == "Trend starts at check 4; 1 is on record."
    assert promise_sentence(TrendPromise(3)) == "Trend starts at check 4; 3 are on record."


def test_the_slowest_losses_are_said_with_the_pace_of_the_checks() -> None:
    said = promise_sentence(TrendPromise(9, 2.0, SlowestLoss(1.85, 1.35)))
    assert "2 checks a year" in said
    assert "a loss of 1.9 % a year in one stage, a loss of 1.4 % a year in all stages at once" in said


def test_where_no_loss_would_be_seen_the_page_says_so() -> None:
    assert "no loss at all in one stage" in promise_sentence(TrendPromise(9, 0.5, SlowestLoss(math.inf, 3.0)))


def test_flags_stand_beside_what_chance_alone_brings() -> None:
    falling, rising = flags_sentences(FlagCounts(400, ChanceFlags(4.0, 0.72), falling=5, rising=1))
    assert "Of 400 fitted units about 4 a year" in falling
    assert "5 were flagged" in falling
    assert "1 flagged as rising, about 0.72 expected" in rising
