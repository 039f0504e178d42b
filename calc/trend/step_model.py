"""The model of all meters and of what each read since its steps: solved, searched for more, and checked again."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.found_steps import NO_STEPS, FoundSteps
from calc.trend.meter_model import MeterEffects, MeterSums
from calc.trend.meter_parts import NO_PARTS, MeterParts
from calc.trend.meter_visits import MeterVisits
from calc.trend.packed import DAYS_PER_YEAR
from calc.trend.step_bounds import KEPT, RAISED, Bounds
from calc.trend.step_evidence import StepEvidence
from calc.trend.step_fit import Steps
from calc.trend.step_scan import StepScan

# A meter may step more than once; each round finds one step of each.
MOST_STEPS = 2
# A step needs time on either side, and in all a year and a half: in less, a wave of the year looks like one.
LEAST_SPAN_YEARS, LEAST_SIDE_YEARS = 1.5, 0.25
# Where bins begin does not move with every new reading.
_BINS_BEGIN_PER_YEAR = 4.0

# The visits of all units, range by range and each time alike.
Ranges = Callable[[], Iterable[MeterVisits]]


@dataclass(frozen=True, slots=True)
class SteppedEffects:
    """The effects of all meters, then those of the parts, and the steps that the parts begin with.

    `step_percent` and `u_step_percent`, shape (parts,), are how much more was read since the step than before it, and
    the standard uncertainty of that.  The scatter of a step is in the uncertainties.
    """

    effects: MeterEffects
    steps: FoundSteps
    step_percent: Floats
    u_step_percent: Floats

    @property
    def parts(self) -> MeterParts:
        """Return what was read from each step on."""
        return self.steps.parts

    @property
    def flagged(self) -> Bools:
        """Return which meters and parts are taken out of the levels: of parts, only corroborated ones."""
        whole = len(self.effects.visits) - len(self.steps)
        read_otherwise: Bools = self.effects.reads_low | self.effects.reads_high
        return np.concatenate([read_otherwise[:whole], self.steps.flagged])


class StepModel:
    """One fleet's visits, solved with more and more parts."""

    def __init__(self, ranges: Ranges, meters: int) -> None:
        """Take what gives the visits, and the number of meters."""
        self.ranges, self.meters = ranges, meters

    def _numbered(self, parts: MeterParts) -> Iterator[MeterVisits]:
        for visits in self.ranges():
            yield replace(visits, meter=parts.numbers(visits.meter, visits.years, self.meters))

    def solved(self, steps: FoundSteps) -> SteppedEffects:
        """Return the effects, without the steps that the whole model does not bear out."""
        while True:
            sums = self._sums(steps.parts)
            size, u = self._sizes(sums, steps)
            borne_out = np.where(steps.on_file, _is_borne_out(KEPT, size, u), _is_borne_out(RAISED, size, u))
            if borne_out.all():
                break
            steps = steps.where(borne_out)
        effects = sums.effects(steps.parts.part_of(self.meters))
        widened = effects.u_percent * np.sqrt(np.concatenate([np.ones(self.meters), steps.scatter]))
        effects = replace(effects, u_percent=widened)
        return SteppedEffects(effects, replace(steps, flagged=_flagged(steps, effects, self.meters)), size, u)

    def _sums(self, parts: MeterParts) -> MeterSums:
        sums = MeterSums(self.meters + len(parts))
        for each in self._numbered(parts):
            sums.add(each.unit, each.meter, each.years, each.value_percent, each.variance, units=each.units)
        return sums

    def _sizes(self, sums: MeterSums, steps: FoundSteps) -> tuple[Floats, Floats]:
        if not len(steps):
            return np.zeros(0), np.zeros(0)
        size, u = sums.differences(self.meters + np.arange(len(steps)), steps.parts.before(self.meters))
        return size, u * np.sqrt(steps.scatter)

    def seen_again(self, on_file: FoundSteps) -> SteppedEffects:
        """Return the effects with the steps on file that the visits still bear out."""
        if not len(on_file):
            return self.solved(on_file)
        found = self.solved(replace(on_file, scatter=self._scatter(on_file.parts)))
        believed, corroborated = np.zeros((2, len(found.steps)), bool)
        for tested in _one_of_each_meter(found.parts):
            evidence = self._evidence_again(found, tested)
            scatter = found.steps.scatter[tested]
            believed[tested] = evidence.believed(scatter, KEPT)
            known = found.steps.corroborated[tested]
            corroborated[tested] = np.where(
                known, evidence.corroborated(scatter, KEPT), evidence.corroborated(scatter, RAISED)
            )
        return self.solved(replace(found.steps, corroborated=corroborated).where(believed))

    def _scatter(self, parts: MeterParts) -> Floats:
        """Return the scatter that the meters of some parts have once the parts are taken out."""
        effects = np.nan_to_num(self._sums(parts).effects(parts.part_of(self.meters)).effect_percent)
        scan = StepScan(*self._uses(NO_PARTS))
        for each in self.ranges():
            scan.add(each, effects[parts.numbers(each.meter, each.years, self.meters)])
        return scan.best().scatter[parts.meter]

    def _evidence_again(self, found: SteppedEffects, tested: Bools) -> StepEvidence:
        """Return what stands behind some steps on file, one of each meter, as if they were not known."""
        rest, places = found.parts.where(~tested), np.cumsum(~tested) - 1
        follows = found.parts.before(self.meters)[tested]
        number = np.where(follows < self.meters, follows, self.meters + places[np.maximum(follows - self.meters, 0)])
        effects = _taken_out(found)[np.concatenate([np.ones(self.meters, bool), ~tested])]
        return self._evidence(rest, effects, number, found.parts.since_years[tested], found.step_percent[tested])

    def _evidence(
        self, parts: MeterParts, effects: Floats, number: Ints, since_years: Floats, size_percent: Floats
    ) -> StepEvidence:
        evidence = StepEvidence(number, since_years, size_percent)
        for each in self._numbered(parts):
            evidence.add(each, each.value_percent - effects[each.meter])
        return evidence

    def steps(self, found: SteppedEffects) -> FoundSteps:
        """Return the steps that are left in the residuals."""
        effects = np.nan_to_num(found.effects.effect_percent)
        coarse = StepScan(*self._uses(found.parts))
        for each in self._numbered(found.parts):
            coarse.add(each, effects[each.meter])
        best = coarse.best(least_side_years=LEAST_SIDE_YEARS)
        likely = (best.gain >= RAISED.gain) & (np.abs(best.size_percent) >= RAISED.step_percent)
        own = np.concatenate([np.arange(self.meters), found.parts.meter])
        likely &= np.bincount(found.parts.meter, minlength=self.meters)[own] < MOST_STEPS
        if not likely.any():
            return NO_STEPS
        since = self._dated(found.parts, effects, coarse, best, likely)
        number = np.flatnonzero(np.isfinite(since))
        size, scatter = best.size_percent[number], best.scatter[number]
        evidence = self._evidence(found.parts, _taken_out(found), number, since[number], size)
        fresh = FoundSteps.fresh(own[number], since[number], scatter, evidence.corroborated(scatter, RAISED))
        return fresh.where(evidence.believed(scatter, RAISED))

    def _uses(self, parts: MeterParts) -> tuple[Floats, Floats]:
        """Return first and last use of each meter and part, both at the turn of a quarter, NaN where it is short."""
        numbers = self.meters + len(parts)
        first, last = np.full(numbers, np.inf), np.full(numbers, -np.inf)
        for each in self._numbered(parts):
            np.minimum.at(first, each.meter, each.years)
            np.maximum.at(last, each.meter, each.years)
        long = last - first >= LEAST_SPAN_YEARS
        begins, ends = (np.where(long, each, np.nan) * _BINS_BEGIN_PER_YEAR for each in (first, last))
        return np.floor(begins) / _BINS_BEGIN_PER_YEAR, np.ceil(ends) / _BINS_BEGIN_PER_YEAR

    def _dated(self, parts: MeterParts, effects: Floats, coarse: StepScan, best: Steps, likely: Bools) -> Floats:
        """Return the day of each likely step, looked for anew between the bins beside it; NaN elsewhere.  [year]"""
        around = (coarse.edges(best.bin + move) for move in (-1, 1))
        fine = StepScan(*(np.where(likely, each, np.nan) for each in around))
        for each in self._numbered(parts):
            fine.add(each, effects[each.meter] + _wave_percent(best, each))
        edge = fine.edges(fine.best(least_bins=2).bin)
        before, after = np.full(len(edge), -np.inf), np.full(len(edge), np.inf)
        for each in self._numbered(parts):
            since = each.years >= edge[each.meter]
            np.minimum.at(after, each.meter[since], each.years[since])
            np.maximum.at(before, each.meter[~since], each.years[~since])
        # Nobody knows when between two uses it happened.
        days: Floats = np.ceil((np.where(likely, before, np.nan) + np.where(likely, after, np.nan)) / 2 * DAYS_PER_YEAR)
        return days / DAYS_PER_YEAR


def _is_borne_out(bounds: Bounds, size: Floats, u: Floats) -> Bools:
    large: Bools = np.abs(size) >= bounds.step_percent
    return large & (size**2 >= bounds.gain * u**2)


def _flagged(steps: FoundSteps, effects: MeterEffects, meters: int) -> Bools:
    size, z = np.abs(effects.effect_percent[meters:]), np.abs(effects.z[meters:])
    kept, raised = ((z > bounds.flagged_z) & (size > bounds.flagged_percent) for bounds in (KEPT, RAISED))
    return steps.corroborated & np.where(steps.flagged, kept, raised)


def _one_of_each_meter(parts: MeterParts) -> Iterator[Bools]:
    """Yield which parts are the first of their meter, the second, and so on."""
    turn = np.arange(len(parts)) - np.searchsorted(parts.meter, parts.meter)
    for each in range(int(turn.max(initial=-1)) + 1):
        yield turn == each


def _taken_out(found: SteppedEffects) -> Floats:
    """Return the effects, of a doubt that of what it follows: what may be the units' is not taken off them.  [%]"""
    effects = np.nan_to_num(found.effects.effect_percent)
    meters = len(effects) - len(found.steps)
    before = found.parts.before(meters)
    for part in np.flatnonzero(~found.steps.corroborated):
        effects[meters + part] = effects[before[part]]
    return effects


def _wave_percent(best: Steps, visits: MeterVisits) -> Floats:
    turn = 2 * np.pi * visits.years
    cosine, sine = best.wave_percent[:, visits.meter]
    wave: Floats = cosine * np.cos(turn) + sine * np.sin(turn)
    return wave
