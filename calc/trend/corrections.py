"""Taking a meter that reads low out of the levels, and saying which declines it had made up."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.episodes import METER_EFFECT, NEVER, OPEN, Episodes
from calc.trend.meter_model import MeterEffects
from calc.trend.series import UNKNOWN_METER, SeriesBatch

# Effects are taken out in whole tenths of a percent, so that they do not move a trend from night to night.
_STEPS_PER_PERCENT = 10


@dataclass(frozen=True, slots=True)
class Corrections:
    """Effects of meters, and which of them to take out; arrays of shape (meters,).

    Only meters that are flagged are corrected: small effects move from night to night, and a trend must not.
    """

    effect_percent: Floats
    flagged: Bools

    @classmethod
    def of(cls, effects: MeterEffects) -> "Corrections":
        """Return the corrections that measured effects call for."""
        known = np.round(np.nan_to_num(effects.effect_percent) * _STEPS_PER_PERCENT) / _STEPS_PER_PERCENT
        return cls(known, effects.reads_low | effects.reads_high)

    def touches(self, series: SeriesBatch) -> Bools:
        """Return which installations a flagged meter has read."""
        touched: Bools = np.any(_look_up(self.flagged, series.meters, False), axis=0)
        return touched

    def percent(self, meters: Ints) -> Floats:
        """Return what each visit's meter adds to its levels.  [%]"""
        return _look_up(np.where(self.flagged, self.effect_percent, 0.0), meters, 0.0)


def corrected(series: SeriesBatch, corrections: Corrections) -> SeriesBatch:
    """Return the levels as the median meter would have read them."""
    factor = 1 + corrections.percent(series.meters) / 100
    return replace(series, levels_percent=series.levels_percent / factor[:, None])


def looked_back_on(meters: Ints, flagged: Bools) -> tuple[Ints, Ints]:
    """Return visit and installation of everything that a flagged meter has read.

    Parameters
    ----------
    meters : ndarray of int, shape (visits, installations)
        Which meter read each visit.
    flagged : ndarray of bool, shape (meters,)
        Which meters are not to be trusted.
    """
    visit, installation = np.nonzero(_look_up(flagged, meters, False))
    return visit, installation


def explained_by_meters(as_read: Episodes, found: Episodes, series: SeriesBatch) -> Episodes:
    """Return the episodes that only a flagged meter had made up, withdrawn.

    Parameters
    ----------
    as_read, found : Episodes
        What the levels as read give, and what they give once the meters are taken out.
    series : SeriesBatch
        The checks.
    """
    known = set(found.identities())
    only = as_read.where(np.array([key not in known for key in as_read.identities()], bool))
    last = np.count_nonzero(~np.isnan(series.years), axis=0)[only.installation] - 1
    still_open = only.ending == OPEN
    return replace(
        only,
        ended=np.where(still_open & (only.ended == NEVER), last, only.ended),
        ending=np.where(still_open, METER_EFFECT, only.ending),
    )


def _look_up(of_meters: Floats | Bools, meters: Ints, unknown: float | bool) -> Floats:
    found: Floats = np.where(meters == UNKNOWN_METER, unknown, of_meters[np.maximum(meters, 0)])
    return found
