"""Whatever is read and whatever is missing, an answer comes, and it hangs together."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.trend import ENDINGS, Resistances, SeriesBatch, fit
from calc.trend.episodes import NEVER
from inspections.bench.worlds import World, batch_of


def random_series(seed: int, visits: int, stages: int, missing: float) -> SeriesBatch:
    """Return six units with readings and whole visits missing, jumps, repairs, moves and several meters."""
    generator = np.random.default_rng(seed)
    years = np.cumsum(generator.choice([0.0, 0.1, 0.5], (visits, 6)), axis=0)
    levels = 100 + 3 * generator.standard_t(1.5, (visits, stages, 6))
    levels[generator.random(levels.shape) < missing] = np.nan
    for column, length in enumerate(generator.integers(0, visits + 1, 6)):
        years[length:, column], levels[length:, :, column] = np.nan, np.nan
    happened = (generator.random((3, *years.shape)) < 0.15) & ~np.isnan(years)
    ohm = generator.gamma(2.0, 4.0, (2, *years.shape))
    ohm[generator.random(ohm.shape) < missing] = np.nan
    return replace(
        batch_of(years, levels, World(2.0, 1.5), lower_limit_percent=90.0),
        repaired=happened[0],
        moved=happened[1],
        temperature_known=~happened[2],
        meters=generator.integers(-1, 3, years.shape),
        resistances=Resistances(ohm[0], np.ones(years.shape), ohm[1], np.ones(years.shape), np.full(6, 90.0)),
    )


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 24), st.integers(1, 8), st.sampled_from([0.0, 0.2, 0.7, 1.0]))
def test_an_answer_comes_and_hangs_together(seed: int, visits: int, stages: int, missing: float) -> None:
    series = random_series(seed, visits, stages, missing)
    found = fit(series)
    episodes = found.episodes
    length = np.count_nonzero(~np.isnan(series.years), axis=0)[episodes.installation]
    assert np.all((episodes.raised >= 3) & (episodes.raised < length))
    assert np.all((episodes.confirmed == NEVER) | (episodes.confirmed >= episodes.raised))
    assert np.all((episodes.ended == NEVER) == (episodes.ending == ENDINGS.index("open")))
    assert np.all((episodes.ended == NEVER) | (episodes.ended >= np.maximum(episodes.raised, episodes.confirmed)))
    assert len(set(episodes.identities())) == len(episodes)
    early, median, late = found.crosses_at_years
    told = ~np.isnan(early)
    assert np.all((early <= median)[told] & (median <= late)[told])
    assert np.all(found.declining | np.isnan(early))
    assert np.all(np.isnan(found.slope_low) | (found.slope_low <= found.slope) & (found.slope <= found.slope_high))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 20), st.integers(1, 8))
def test_one_unit_alone_is_judged_as_among_others(seed: int, visits: int, stages: int) -> None:
    series = random_series(seed, visits, stages, 0.2)
    whole = fit(series)
    for column in range(6):
        alone = fit(series.of(np.array([column])))
        own = whole.episodes.where(whole.episodes.installation == column)
        assert alone.episodes.of_columns(np.array([column])).identities() == own.identities()
        np.testing.assert_allclose(alone.crosses_at_years[:, :, 0], whole.crosses_at_years[:, :, column])
