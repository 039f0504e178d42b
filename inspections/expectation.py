"""What a healthy stage would show, and what in a reading asks for a second look or a stop."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import inf
from statistics import median_high
from typing import Literal

from calc.copper import resistance_ratio
from calc.errors import RELATIVE_SLACK
from calc.evidence import Rating, RelayBox
from calc.findings import OVER_CURRENT_PERCENT
from calc.own_findings import LOWEST_DRAWING_SHARE

# Judgement, not data: a box voltage under load below this share of the voltage at rest is a supply giving way.
COLLAPSED_SUPPLY_SHARE = 0.8
# Judgement, not data: no vehicle's box shows more than this over its nominal voltage.
HIGHEST_SUPPLY_SHARE = 1.4
# Judgement, not data: a slip of the decimal point is offered only where it lands on a likely reading.
LOWEST_LIKELY_SHARE = 0.5
SHIFTS = (Decimal("0.1"), Decimal("0.01"))


@dataclass(frozen=True, slots=True)
class Expected:
    """What a healthy unit draws at a box voltage; without a reference voltage only the rated amps, and no band.

    Of a unit whose type is not identified it is what it drew itself at earlier checks, or what its other stages draw in
    this one, and no band either.
    """

    current_a: float
    lower_a: float | None
    upper_a: float | None
    basis: Literal["rating", "own_history", "other_stages"] = "rating"


def expected_reading(
    rating: Rating, energised: Sequence[int], *, supply_voltage_v: float, coil_temperature_c: float
) -> Expected:
    """Return what a clamp round the supply cable should show with these stages on."""
    rated_a = sum(rating.rated_currents_a[stage - 1] for stage in energised)
    if not rating.reference_voltage_v:
        return Expected(rated_a, None, None)
    hot = resistance_ratio(coil_temperature_c, reference_temperature_c=rating.reference_temperature_c)
    current_a = rated_a * supply_voltage_v / (rating.reference_voltage_v * hot)
    return Expected(
        current_a,
        _bounded(current_a, -1, rating.tolerance_lower_percent),
        _bounded(current_a, 1, rating.tolerance_upper_percent),
    )


def expected_by_own_history(
    conductances_s: Mapping[int, float],
    energised: Sequence[int],
    *,
    supply_voltage_v: float,
    coil_temperature_c: float,
) -> Expected | None:
    """Return the same by what each stage conducted at earlier checks, at 20 °C; None where one was not read before.

    >>> expected_by_own_history({1: 2.9}, [1], supply_voltage_v=14.0, coil_temperature_c=20.0).current_a
    40.6
    >>> expected_by_own_history({1: 2.9}, [1, 2], supply_voltage_v=14.0, coil_temperature_c=20.0)
    """
    if any(stage not in conductances_s for stage in energised):
        return None
    cold_s = sum(conductances_s[stage] for stage in energised)
    return Expected(cold_s * supply_voltage_v / resistance_ratio(coil_temperature_c), None, None, "own_history")


def expected_by_other_stages(
    conductances_s: Mapping[int, float], energised: Sequence[int], *, supply_voltage_v: float
) -> Expected | None:
    """Return the same by what the stages read in this check conduct, as warm as they are; None where there are none.

    The stages are taken as built alike: each draws as the middle one of those that draw at all.

    >>> expected_by_other_stages({1: 2.9, 2: 0.0}, [3], supply_voltage_v=14.0).current_a
    40.6
    """
    others = [conductance_s for stage, conductance_s in conductances_s.items() if [stage] != list(energised)]
    drawing = [each for each in others if each > LOWEST_DRAWING_SHARE * max(others)]
    if not drawing:
        return None
    return Expected(median_high(drawing) * len(energised) * supply_voltage_v, None, None, "other_stages")


def _bounded(current_a: float, side: int, tolerance_percent: float | None) -> float | None:
    return None if tolerance_percent is None else current_a * (1 + side * tolerance_percent / 100)


def slipped_current(current_a: Decimal, expected: Expected | None) -> Decimal | None:
    """Return what was meant where the decimal point was left out, such as 36.3 for 363; else None.

    Where nobody knows what to expect, nothing looks like a slip.

    >>> slipped_current(Decimal("363"), Expected(35.5, 32.0, 39.0))
    Decimal('36.3')
    """
    if expected is None:
        return None
    most = expected.current_a * OVER_CURRENT_PERCENT / 100
    return _slipped(current_a, expected.current_a * LOWEST_LIKELY_SHARE, most)


def slipped_voltage(supply_voltage_v: Decimal, system_voltage_v: float) -> Decimal | None:
    """Return what was meant where the decimal point was left out, such as 13.8 for 138; else None.

    >>> slipped_voltage(Decimal("1376"), 12)
    Decimal('13.76')
    """
    most = system_voltage_v * HIGHEST_SUPPLY_SHARE
    return _slipped(supply_voltage_v, system_voltage_v * LOWEST_LIKELY_SHARE, most)


def is_too_high(supply_voltage_v: Decimal, system_voltage_v: float) -> bool:
    """Tell whether no box of such a system shows so much.

    >>> is_too_high(Decimal("27.9"), 12), is_too_high(Decimal("14.4"), 12)
    (True, False)
    """
    return supply_voltage_v > system_voltage_v * HIGHEST_SUPPLY_SHARE


def are_swapped(supply_voltage_v: Decimal, current_a: Decimal, system_voltage_v: float) -> bool:
    """Tell whether the volts are no box's volts while the amps would be.

    >>> are_swapped(Decimal("40.1"), Decimal("13.76"), 12), are_swapped(Decimal("138"), Decimal("36.3"), 12)
    (True, False)
    """
    likely = current_a >= system_voltage_v * LOWEST_LIKELY_SHARE and not is_too_high(current_a, system_voltage_v)
    return is_too_high(supply_voltage_v, system_voltage_v) and likely


def _slipped(typed: Decimal, least: float, most: float) -> Decimal | None:
    if typed <= most:
        return None
    return next((typed * shift for shift in SHIFTS if least <= typed * shift <= most), None)


def stopping_reason(
    expected: Expected | None, *, current_a: float, supply_voltage_v: float, rest_voltage_v: float
) -> str | None:
    """Return `over_current` or `collapsing_supply` where everything has to go off at once; else None.

    Too much is told only where it is known how much is right.
    """
    most_a = inf if expected is None else expected.current_a * OVER_CURRENT_PERCENT / 100
    if current_a > most_a * (1 + RELATIVE_SLACK):
        return "over_current"
    if supply_voltage_v < rest_voltage_v * COLLAPSED_SUPPLY_SHARE * (1 - RELATIVE_SLACK):
        return "collapsing_supply"
    return None


def expected_outputs(box: RelayBox, energised: Sequence[int]) -> list[int]:
    """Return the outputs that these inputs switch; an unknown box switches output k with input k."""
    if box.outputs_by_input is None:
        return sorted(set(energised))
    return sorted({output for control_input in energised for output in box.outputs_by_input[control_input - 1]})


def expected_lamps(box: RelayBox, energised: Sequence[int], stages: int) -> list[int] | None:
    """Return the lamps that should be lit; None where the box's lamps say nothing about single stages."""
    if box.lamps == stages:
        return sorted(set(energised))
    return [1] if box.lamps == 1 else None
