"""A clamp that turns low with no calibration on file: is it found, when, and what of its declines is withdrawn?"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats
from calc.trend.corrections import Corrections
from calc.trend.episodes import ALL_STAGES, METER, OPEN, Episodes
from calc.trend.fitting import fit
from calc.trend.found_steps import NO_STEPS, FoundSteps
from calc.trend.meter_steps import stepped_effects
from calc.trend.packed import DAYS_PER_YEAR
from calc.trend.series import UNKNOWN_METER, SeriesBatch
from calc.trend.step_model import LEAST_SPAN_YEARS, SteppedEffects
from inspections.bench.low_meter import visits_of
from inspections.bench.turning_worlds import Depots, Turned, turned_depots
from inspections.bench.worlds import World

LOOKED_AT_EVERY_YEARS = 0.5


@dataclass(frozen=True, slots=True)
class TurnedFound:
    """Of clamps that turn: the share found, the errors of date and effect, and what became of the declines.

    `others_percent` is the share of clamps flagged that have not turned; `doubted_percent` that of the first clamps
    with a step that no other clamp corroborates, which takes nothing out.
    """

    doubted_percent: float
    found_percent: float
    others_percent: float
    date_error_days: float
    effect_error_percent: float
    declines_made: int
    withdrawn: int
    real: int
    real_withdrawn: int

    @property
    def withdrawn_percent(self) -> float:
        """Return the share of the declines that the clamps made which is withdrawn.  [%]"""
        return 100 * self.withdrawn / max(self.declines_made, 1)

    @property
    def real_withdrawn_percent(self) -> float:
        """Return the share of the real declines that is withdrawn.  [%]"""
        return 100 * self.real_withdrawn / max(self.real, 1)


def turned_found(depots: Depots, world: World, seed: int, count: int) -> TurnedFound:
    """Return what is found of the first clamp of each of many depots at the end of their history."""
    turned = turned_depots(depots, world, np.random.default_rng(seed), count)
    found = _effects(turned.series, turned.meters)
    flagged = found.steps.flagged
    meter, since = found.parts.meter[flagged], found.parts.since_years[flagged]
    effect = found.effects.effect_percent[turned.meters :][flagged]
    right = meter % depots.clamps == 0
    late = since[right] - turned.turned_years[meter[right] // depots.clamps]
    others = max(turned.meters - count, 1)
    doubted = found.parts.meter[~found.steps.corroborated]
    return TurnedFound(
        100 * len(np.unique(doubted[doubted % depots.clamps == 0])) / count,
        100 * len(np.unique(meter[right])) / count,
        100 * len(np.unique(meter[~right])) / others,
        _median(np.abs(late)) * DAYS_PER_YEAR,
        _median(effect[right] - depots.step_percent),
        *_declines(turned, found),
    )


@dataclass(frozen=True, slots=True)
class Alarms:
    """Shares of clamps that have not turned, flagged or doubted in a year, and the clamp-years behind them."""

    flagged_percent: float
    doubted_percent: float
    clamp_years: float


def alarms_each_year(depots: Depots, world: World, seed: int, count: int) -> Alarms:
    """Return how often clamps that have not turned are taken for turned ones.

    The history is looked at every half year, as it grows, with what was found the time before on file: whatever is ever
    flagged or doubted counts.
    """
    turned = turned_depots(depots, world, np.random.default_rng(seed), count)
    flagged, doubted = np.zeros((2, turned.meters), bool)
    on_file = NO_STEPS
    for until in np.arange(LEAST_SPAN_YEARS, depots.years + 1e-9, LOOKED_AT_EVERY_YEARS):
        found = _effects(seen_until(turned.series, until), turned.meters, on_file)
        flagged[found.parts.meter[found.steps.flagged]] = True
        doubted[found.parts.meter[~found.steps.corroborated]] = True
        on_file = found.steps.as_filed()
    clamp_years = turned.meters * depots.years
    per_year = 100 / clamp_years
    return Alarms(per_year * int(flagged.sum()), per_year * int(doubted.sum()), clamp_years)


def seen_until(series: SeriesBatch, until_years: float) -> SeriesBatch:
    """Return what had been read by then."""
    seen = series.years < until_years
    return replace(
        series,
        years=np.where(seen, series.years, np.nan),
        levels_percent=np.where(seen[:, None], series.levels_percent, np.nan),
        meters=np.where(seen, series.meters, UNKNOWN_METER),
    )


def _effects(series: SeriesBatch, meters: int, on_file: FoundSteps = NO_STEPS) -> SteppedEffects:
    visits = visits_of(series)
    return stepped_effects(lambda: [visits], meters, on_file)


def _median(values: Floats) -> float:
    return float(np.median(values)) if len(values) else float("nan")


def _declines(turned: Turned, found: SteppedEffects) -> Iterator[int]:
    """Return how many declines the clamps made and how many of them are withdrawn, and the same of real ones."""
    as_read, steady = (
        _open_falls(fit(each, forecast=False).episodes, turned) for each in (turned.series, turned.steady)
    )
    taken_out = Corrections.of_steps(found)
    left = _open_falls(fit(turned.series, taken_out, forecast=False).episodes, turned)
    made, real = as_read & ~steady & ~turned.losing, as_read & steady & turned.losing
    for kind in (made, real):
        yield int(np.count_nonzero(kind))
        yield int(np.count_nonzero(kind & ~left))


def _open_falls(episodes: Episodes, turned: Turned) -> Bools:
    falls = episodes.where(
        np.isin(episodes.attribution, (ALL_STAGES, METER)) & ~episodes.rising & (episodes.ending == OPEN)
    )
    falling: Bools = np.zeros(turned.series.installations, bool)
    falling[falls.installation] = True
    return falling


@dataclass(frozen=True, slots=True)
class Trouble:
    """What healthy clamps might be taken for turned ones by."""

    name: str
    depots: Depots


TROUBLES = [
    Trouble("one clamp", Depots(years=6)),
    Trouble("four clamps", Depots(years=6, units=80, clamps=4)),
    Trouble("one, 30 % of units lose", Depots(years=6, losing_share=0.3)),
    Trouble("one, ill-known temperature", Depots(years=6, wave_percent=1.5, weather_percent=0.7)),
    Trouble("one, 200 units, same", Depots(years=6, units=200, wave_percent=1.5, weather_percent=0.7)),
    Trouble("four, same", Depots(years=6, units=80, clamps=4, wave_percent=1.5, weather_percent=0.7)),
    Trouble("one, same, in rounds", Depots(years=6, in_rounds=True, wave_percent=1.5, weather_percent=0.7)),
    Trouble("four, uneven, 20 % lose", Depots(years=6, units=80, clamps=4, uneven=True, losing_share=0.2)),
    Trouble("four, all units -2 % at once", Depots(years=6, units=80, clamps=4, event_percent=-2.0)),
    Trouble("two, all units -2 % at once", Depots(years=6, units=100, clamps=2, event_percent=-2.0)),
    Trouble("one, all units -2 % at once", Depots(years=6, event_percent=-2.0)),
]

# Units that truly lose at about one time, and that one clamp mostly or always reads.
BATCHES = [
    Trouble("sole clamp, all 12 units -4 %", Depots(units=12, batch_percent=-4.0)),
    Trouble("sole clamp, 2/3 of 20 units -4 %", Depots(batch_percent=-4.0, batch_share=2 / 3)),
    *(
        Trouble(
            f"four clamps, one's 20 units -4 %, {foreign:.0%} foreign",
            Depots(units=80, clamps=4, batch_percent=-4.0, foreign_share=foreign),
        )
        for foreign in (0.02, 0.05, 0.1, 0.2)
    ),
]
