"""The visits of a fleet are read from the database once, and are the same each time they are gone through."""

from collections.abc import Iterator

import numpy as np

from calc.trend import MeterVisits
from inspections.services.meter_spool import VisitSpool


def test_the_source_is_read_once_and_every_pass_is_alike() -> None:
    asked = []

    def ranges() -> Iterator[MeterVisits]:
        asked.append(1)
        for units in (2, 3):
            unit, figure = np.arange(units), np.linspace(0.3, 0.9, units)
            yield MeterVisits(unit, unit % 2, figure + 26, figure - 1, figure, units)

    with VisitSpool(ranges) as spool:
        passes = [list(spool()) for _ in range(3)]
    assert len(asked) == 1
    for each in passes:
        assert [visits.units for visits in each] == [2, 3]
        for name in ("unit", "meter", "years", "value_percent", "variance"):
            for visits, first, source in zip(each, passes[0], ranges(), strict=True):
                np.testing.assert_array_equal(getattr(visits, name), getattr(first, name))
                np.testing.assert_allclose(getattr(visits, name), getattr(source, name), rtol=1e-7)
