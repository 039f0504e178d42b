"""The readings of a check on the way: which are taken, which comes next, and what one says beside the last time."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboard.checks.drafts import Draft, reading_key
from dashboard.checks.units import Unit
from inspections.expectation import Expected, stopping_reason
from inspections.history import LastReading, last_reading


@dataclass(frozen=True, slots=True)
class Look:
    """Two numbers, what a healthy unit draws at these volts, what was there the last time, and whether to stop."""

    supply_voltage_v: Any
    current_a: Any
    expected: Expected | None
    last: LastReading | None
    stop: str | None


@dataclass(frozen=True, slots=True)
class StageLink:
    """One state on the way through a check."""

    key: str
    stage: int
    energised: list[int]
    reading: Mapping[str, Any] | None
    not_read: str | None

    @property
    def done(self) -> bool:
        """Tell whether the state is read, or named as not read."""
        return self.reading is not None or self.not_read is not None


def look_at(unit: Unit, draft: Draft, energised: list[int], reading: Mapping[str, Any]) -> Look:
    """Return what a reading says; only to be shown once both of its numbers are there."""
    volts, amps = reading["supply_voltage_v"], reading["current_a"]
    expected = unit.expected(draft, energised, volts)
    stop = stopping_reason(
        expected,
        current_a=float(amps),
        supply_voltage_v=float(volts),
        rest_voltage_v=unit.rest_voltage_v(draft),
    )
    return Look(volts, amps, expected, last_reading(unit.earlier_checks(draft), energised), stop)


def as_expected(unit: Unit, energised: list[int]) -> dict[str, list[int]]:
    """Return what is seen of outputs and lamps where all is as it should be."""
    lamps = unit.lamps(energised)
    return {"outputs_live": unit.outputs(energised)} | ({} if lamps is None else {"lamps_lit": lamps})


def how_seen(unit: Unit, energised: list[int], reading: Mapping[str, Any]) -> str:
    """Return the answer about outputs and lamps that a reading was kept with."""
    kept = {key: sorted(reading[key]) for key in ("outputs_live", "lamps_lit") if reading.get(key) is not None}
    if not kept:
        return "not_looked_at"
    return "as_expected" if kept == as_expected(unit, energised) else "otherwise"


def stage_links(unit: Unit, draft: Draft) -> list[StageLink]:
    """Return every stage alone, in the order of the unit."""
    return [_link(draft, [stage], draft["not_read"].get(str(stage))) for stage in unit.stages]


def together_links(unit: Unit, draft: Draft) -> list[StageLink]:
    """Return the steps of a cumulative pass: 1 and 2, then 1, 2 and 3, …; stage 1 alone is read already."""
    return [_link(draft, list(range(1, stage + 1)), None) for stage in unit.stages[1:]]


def _link(draft: Draft, energised: list[int], not_read: str | None) -> StageLink:
    key = reading_key(energised)
    return StageLink(key, energised[-1], energised, draft["readings"].get(key), not_read)


def to_read_next(unit: Unit, draft: Draft, energised: list[int]) -> str | None:
    """Return the state that comes after this one and is still open, going round; None where all is done."""
    links = together_links(unit, draft) if len(energised) > 1 else stage_links(unit, draft)
    later = [link for link in links if link.stage > energised[-1]]
    earlier = [link for link in links if link.stage < energised[-1]]
    return next((link.key for link in [*later, *earlier] if not link.done), None)
