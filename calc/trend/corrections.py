"""Taking a meter that reads low out of the levels, and saying which declines it had made up."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.episodes import METER_EFFECT, NEVER, OPEN, Episodes
from calc.trend.meter_model import MeterEffects
from calc.trend.meter_parts import NO_PARTS, MeterParts
from calc.trend.series import UNKNOWN_METER, SeriesBatch
from calc.trend.step_model import SteppedEffects

# Effects are taken out in whole tenths of a percent, so that they do not move a trend from night to night.
_TENTHS = 10


@dataclass(frozen=True, slots=True)
class Corrections:
    """Effects of meters, then of parts of their use, and which of them to take out; arrays of shape (meters + parts,).

    Only meters that are flagged are corrected: small effects move from night to night, and a trend must not.  A part
    is looked up by the time of a visit and does not make its meter another one: what was said of a unit before the part
    was found is still said of what was read.  `u_percent` is the standard uncertainty of what is taken out; the visits
    that it is taken out of are no better known than that.
    """

    effect_percent: Floats
    flagged: Bools
    parts: MeterParts = NO_PARTS
    u_percent: Floats | None = None

    @classmethod
    def of(cls, effects: MeterEffects) -> "Corrections":
        """Return the corrections that measured effects call for."""
        return cls(in_tenths(np.nan_to_num(effects.effect_percent)), effects.reads_low | effects.reads_high)

    @classmethod
    def of_steps(cls, found: SteppedEffects) -> "Corrections":
        """Return the corrections that effects and steps call for."""
        steps, meters = found.steps, len(found.effects.visits) - len(found.steps)
        known = in_tenths(np.nan_to_num(found.effects.effect_percent))
        u = u_in_tenths(np.nan_to_num(found.effects.u_percent))
        # What is wrong with a meter all along is in the levels before and after alike, and in no fall.
        u[:meters] = 0.0
        taken_out = np.where(found.flagged, known, 0.0)
        counts = parts_that_count(found.parts, taken_out, steps.corroborated, found.step_percent)
        chosen = np.concatenate([np.ones(meters, bool), counts])
        return cls(known[chosen], found.flagged[chosen], found.parts.where(counts), u[chosen])

    def touches(self, series: SeriesBatch) -> Bools:
        """Return which installations a flagged meter has read."""
        touched: Bools = np.any(_look_up(self.flagged, self._numbers(series), False), axis=0)
        return touched

    def percent(self, series: SeriesBatch) -> Floats:
        """Return what each visit's meter adds to its levels.  [%]"""
        return _look_up(np.where(self.flagged, self.effect_percent, 0.0), self._numbers(series), 0.0)

    def u_of_visits(self, series: SeriesBatch) -> Floats:
        """Return the standard uncertainty of that.  [%]"""
        known = np.zeros(len(self.flagged)) if self.u_percent is None else self.u_percent
        return _look_up(np.where(self.flagged, known, 0.0), self._numbers(series), 0.0)

    def _numbers(self, series: SeriesBatch) -> Ints:
        return self.parts.numbers(series.meters, series.years, len(self.flagged) - len(self.parts))


def parts_that_count(parts: MeterParts, taken_out: Floats, corroborated: Bools, step_percent: Floats) -> Bools:
    """Return which parts begin or end what is taken out of the levels.

    A doubt takes nothing out and changes nothing, but that it ends what makes up for a meter that read low: where
    the meter seems to read more again, going on would hide true losses.

    Parameters
    ----------
    parts : MeterParts
        The parts.
    taken_out : ndarray, shape (meters + parts,)
        Effect that is taken out, 0 where nothing. [%]
    corroborated, step_percent : ndarray, shape (parts,)
        Whether it is the meter's, and how much more was read than before. [%]
    """
    counts, current = corroborated.copy(), taken_out[: len(taken_out) - len(parts)].copy()
    for part, meter in enumerate(parts.meter.tolist()):
        counts[part] |= bool(step_percent[part] > 0 > current[meter])
        if counts[part]:
            current[meter] = taken_out[len(current) + part]
    return counts


def in_tenths(percent: Floats) -> Floats:
    """Return effects as they are taken out of the levels.  [%]

    Examples
    --------
    >>> in_tenths(np.array([-2.46])).tolist(), u_in_tenths(np.array([0.21])).tolist()
    ([-2.5], [0.3])
    """
    rounded: Floats = np.round(percent * _TENTHS) / _TENTHS
    return rounded


def u_in_tenths(u_percent: Floats) -> Floats:
    """Return standard uncertainties rounded up, for the same reason.  [%]"""
    rounded: Floats = np.ceil(u_percent * _TENTHS) / _TENTHS
    return rounded


def corrected(series: SeriesBatch, corrections: Corrections) -> SeriesBatch:
    """Return the levels as the median meter would have read them, and no better known than that."""
    factor = 1 + corrections.percent(series) / 100
    u_shared = np.hypot(series.u_shared_percent, corrections.u_of_visits(series))
    return replace(series, levels_percent=series.levels_percent / factor[:, None], u_shared_percent=u_shared)


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
