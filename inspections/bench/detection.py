"""What the trend finds in invented fleets: false alarms, delays, and whose loss it says it is."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.episodes import ALL_STAGES, NEVER, STAGE, Episodes
from calc.trend.fitting import fit
from inspections.bench.worlds import FIRST_FAULT_YEAR, HEALTHY, Fault, Simulated, World, fleet

BLOCK = 2000
NOT_FOUND = np.inf


@dataclass(frozen=True, slots=True)
class FalseAlarms:
    """Share of healthy installations flagged in a year, in percent, and the years behind it."""

    watched_percent: float
    confirmed_percent: float
    rises_percent: float
    mirror_percent: float
    installation_years: float


@dataclass(frozen=True, slots=True)
class Delays:
    """Years from the fault to the first flag of the right kind, and shares in percent."""

    median_years: float
    within_three_years_percent: float


@dataclass(frozen=True, slots=True)
class Attribution:
    """Share of confirmed losses that are laid to the right cause, in percent, and how many there were."""

    right_percent: float
    alarms: int


def fleets(
    world: World, seed: int, stages: int, installations: int, fault: Fault = HEALTHY, history_years: float = 6.0
) -> Iterator[Simulated]:
    """Return an invented fleet in blocks, from a seed of its own."""
    generator = np.random.default_rng([seed, stages])
    for _ in range(max(installations // BLOCK, 1)):
        yield fleet(
            world,
            generator,
            installations=min(installations, BLOCK),
            stages=stages,
            history_years=history_years,
            fault=fault,
        )


def false_alarms(world: World, seed: int, stages: int, installations: int) -> FalseAlarms:
    """Return how many healthy installations are flagged."""
    counts, years = np.zeros(4), 0.0
    for simulated in fleets(world, seed, stages, installations):
        found = fit(simulated.series, forecast=False)
        falls, rises = found.episodes.where(~found.episodes.rising), found.episodes.where(found.episodes.rising)
        confirmed = falls.where(falls.confirmed != NEVER)
        flagged = [len(np.unique(each.installation)) for each in (falls, confirmed, rises)]
        counts += np.array([*flagged, np.count_nonzero(found.mirrored)])
        years += float(found.judged_years.sum())
    watched, confirmed_rate, rising, mirrored = (float(rate) for rate in 100 * counts / years)
    return FalseAlarms(watched, confirmed_rate, rising, mirrored, years)


def delays(world: World, seed: int, stages: int, installations: int, fault: Fault) -> Delays:
    """Return how long the first flag of the right kind takes."""
    waited = np.concatenate(
        [
            first_after_fault(simulated, right_kind(fit(simulated.series, forecast=False).episodes, fault), "raised")
            for simulated in fleets(world, seed, stages, installations, fault, history_years=8.0)
        ]
    )
    return Delays(float(np.median(waited)), float(100 * np.mean(waited <= 3.0)))


def attribution(world: World, seed: int, stages: int, installations: int, fault: Fault) -> Attribution:
    """Return how often the first confirmed loss after the fault is laid to the right cause."""
    right, alarms = 0, 0
    for simulated in fleets(world, seed, stages, installations, fault, history_years=8.0):
        confirmed = first_confirmed(simulated, fit(simulated.series, forecast=False).episodes)
        right += len(right_kind(confirmed, fault))
        alarms += len(confirmed)
    return Attribution(100 * right / max(alarms, 1), alarms)


def first_confirmed(simulated: Simulated, episodes: Episodes) -> Episodes:
    """Return the first loss of each installation that is confirmed after the fault."""
    falls = episodes.where(~episodes.rising & (episodes.confirmed != NEVER))
    years = simulated.series.years[falls.confirmed, falls.installation]
    after = falls.where(years >= FIRST_FAULT_YEAR)
    in_time = np.lexsort((after.confirmed, after.installation))
    _, first = np.unique(after.installation[in_time], return_index=True)
    return after.where(in_time[first])


def right_kind(episodes: Episodes, fault: Fault) -> Episodes:
    """Return the losses that are laid to what is truly failing."""
    return episodes.where(~episodes.rising & _is_right(episodes.attribution, episodes.stage, fault))


def first_after_fault(simulated: Simulated, episodes: Episodes, event: str) -> Floats:
    """Return the years from the fault to the first such event of each installation, ∞ where there is none."""
    visits: Ints = getattr(episodes, event)
    happened = visits != NEVER
    years = simulated.series.years[visits[happened], episodes.installation[happened]] - FIRST_FAULT_YEAR
    first = np.full(simulated.series.installations, NOT_FOUND)
    after = years >= 0
    np.minimum.at(first, episodes.installation[happened][after], years[after])
    return first


def _is_right(attribution_codes: Ints, stage: Ints, fault: Fault) -> Bools:
    right: Bools = attribution_codes == (ALL_STAGES if fault.all_stages else STAGE)
    return right if fault.all_stages else right & (stage == 1)
