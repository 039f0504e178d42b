"""The bench of the night: what it refuses, and that its table says every aim beside what was reached."""

import pytest
from django.core.management import CommandError, call_command
from django.db import connections

from inspections.bench.night import night_table

FIGURES = {
    "installations": 1_000,
    "larger": 3_000,
    "visits": 12,
    "stages": 4,
    "raw_s": 1.0,
    "full_s": 3.0,
    "news_s": 0.1,
    "over_raw": 3.0,
    "news_share": 0.1 / 3,
    "clamps_s": 1.5,
    "one_worker_s": 3.0,
    "workers_s": 2.5,
    "gain": 1.2,
    "memory_mb": 200.0,
    "larger_memory_mb": 310.0,
    "larger_s": 9.0,
    "times_smaller": 3.0,
    "one_by_one_s": 2.0,
}


def test_without_postgresql_it_is_refused_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections["default"], "vendor", "sqlite")
    with pytest.raises(CommandError, match="needs PostgreSQL"):
        call_command("bench", "night")


def test_the_table_says_what_was_reached_and_what_was_not() -> None:
    lines = {line.partition("  ")[0] or line.strip(): line for line in night_table(FIGURES).splitlines()}
    reached = [line for line in lines.values() if line.endswith("yes")]
    missed = [line.split("aim")[0].split()[:-1] for line in lines.values() if line.endswith("NO")]
    assert len(reached) == 4
    assert [" ".join(words) for words in missed] == ["gain of the second", "larger"]


@pytest.mark.parametrize("name", ["trend", None])
def test_a_fleet_of_a_million_is_the_nights_alone(name: str | None) -> None:
    with pytest.raises(CommandError, match="million is a size of the night alone"):
        call_command("bench", *filter(None, [name]), size="million")
