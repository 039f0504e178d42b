"""Many visits judged at once: verdicts and levels as columns, and a full answer only for those asked for."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import compress
from math import isfinite
from typing import NamedTuple

import numpy as np

from calc.actions import unit_action
from calc.answers import finite_or_none, stage_judgements
from calc.apart.parts import judged_apart
from calc.arrays import Floats, Ints
from calc.columns import Columns, columns_of
from calc.conformity import VERDICTS
from calc.diagnosis.screen import Rank, can_be_ranked, ranked, sound_fits_each
from calc.evidence import Evidence
from calc.findings import findings_of, in_order
from calc.judgement import Finding, Judgement, StageJudgement, TorqueShareRange
from calc.method import METHOD_VERSION
from calc.own_figures import changes_of, conductances_of, u_alone_s
from calc.own_findings import Balance, own_findings, own_healthy_probability
from calc.stages import TYPE_NOT_IDENTIFIED, StageResults, judge_columns
from calc.unit import UnitResults, unit_results
from calc.unit_verdicts import unit_verdicts
from calc.verdict import reasons_of, simple_unit_verdict, unit_verdict


@dataclass(frozen=True)
class Batch:
    """Visits and what was worked out of all of them at once.

    `stages` holds one row per stage read, ascending by visit and stage: levels, uncertainties, classes.
    """

    evidences: Sequence[Evidence]
    columns: Columns
    stages: StageResults

    @cached_property
    def verdicts(self) -> list[str]:
        """Return the unit verdict of every visit."""
        places = unit_verdicts(self.evidences, self.stages, self._failed_by_themselves)
        return [VERDICTS[place] for place in places.tolist()]

    @cached_property
    def units(self) -> UnitResults:
        """Return imbalance, torque share and how well the sound circuit fits, visit by visit."""
        return unit_results(self.columns, self.stages)

    @cached_property
    def first_rows(self) -> Ints:
        """Return where the stage rows of each visit begin, and where the last one's end; shape (visits + 1,)."""
        visits: Ints = np.searchsorted(self.stages.rows.inspection, np.arange(len(self.evidences) + 1))
        return visits

    def answer(
        self, visit: int, *, rank: Rank = "never", confirmed_counts: Mapping[str, int] | None = None
    ) -> Judgement:
        """Return the full judgement of one visit; `rank` and `confirmed_counts` as for `judge`."""
        return self.answers(slice(visit, visit + 1), rank=rank, confirmed_counts=confirmed_counts)[0]

    def answers(
        self, visits: slice, *, rank: Rank = "never", confirmed_counts: Mapping[str, int] | None = None
    ) -> list[Judgement]:
        """Return the full judgements of visits that follow one another."""
        first, *bounds = self.first_rows[visits.start : visits.stop + 1].tolist()
        stages = stage_judgements(self.stages, self.evidences, slice(first, bounds[-1] if bounds else first))
        starts = [first, *bounds][:-1]
        each = zip(
            self.evidences[visits],
            [stages[start - first : end - first] for start, end in zip(starts, bounds, strict=True)],
            self._figures(visits, rank),
            map(self._own, range(visits.start, visits.stop)),
            strict=True,
        )
        return [_judgement(*visit, rank=rank, confirmed_counts=confirmed_counts) for visit in each]

    @cached_property
    def _u_alone_s(self) -> Floats:
        return u_alone_s(self.columns.conditions, self.stages)

    def _own(self, visit: int) -> "_Own":
        """Return what a unit without a rating says about itself; nothing of a unit that has one."""
        evidence = self.evidences[visit]
        healthy = float(self.units.healthy_probability[visit])
        if evidence.rating.identified:
            return _Own((), healthy)
        rows = slice(*self.first_rows[visit : visit + 2].tolist())
        own = conductances_of(self.stages, self._u_alone_s, rows)
        balance = Balance(*(float(column[visit]) for column in self.units.imbalance))
        findings = tuple(own_findings(evidence, own, balance))
        return _Own(findings, own_healthy_probability(healthy, changes_of(evidence, own)))

    @property
    def _failed_by_themselves(self) -> list[int]:
        """Return the visits to units without a rating that their own stages or their own history fail."""
        visits = np.unique(self.stages.rows.inspection[self.stages.reason == TYPE_NOT_IDENTIFIED]).tolist()
        return [visit for visit in visits if any(one.severity == "defect" for one in self._own(visit).findings)]

    def _sound(self, visits: slice, rank: Rank) -> list[bool]:
        """Return which visits the sound circuit explains, as far as anybody is going to ask."""
        asked = [rank == "when_unfit" and can_be_ranked(evidence) for evidence in self.evidences[visits]]
        fits = iter(sound_fits_each(list(compress(self.evidences[visits], asked))))
        return [is_asked and next(fits) for is_asked in asked]

    def _figures(self, visits: slice, rank: Rank) -> Iterator["_Figures"]:
        rest, units = self.stages.rest, self.units
        columns = (
            rest.meaning[visits],
            rest.subtracted_a[visits],
            units.imbalance.percent[visits],
            units.imbalance.expanded_uncertainty_percent[visits],
            units.torque_percent.T[visits],
        )
        return map(_Figures, *(column.tolist() for column in columns), self._sound(visits, rank))


class _Figures(NamedTuple):
    """What is known of a whole visit."""

    rest_meaning: int
    subtracted_a: float
    imbalance_percent: float
    imbalance_expanded_uncertainty_percent: float
    torque_percent: list[float]
    sound_fits: bool


class _Own(NamedTuple):
    """What a unit without a rating says about itself, and how likely nothing is wrong with any unit."""

    findings: tuple[Finding, ...]
    healthy_probability: float


def _judgement(
    evidence: Evidence,
    stages: list[StageJudgement],
    unit: _Figures,
    own: _Own,
    *,
    rank: Rank,
    confirmed_counts: Mapping[str, int] | None,
) -> Judgement:
    seen = [*findings_of(evidence, stages, unit.rest_meaning), *own.findings]
    apart, found_apart, lines = judged_apart(evidence, seen, unit.rest_meaning, unit.subtracted_a)
    findings = in_order([*seen, *found_apart])
    reasons = reasons_of(evidence, stages, findings)
    defect_found = any(finding.severity == "defect" for finding in seen)
    torque = _torque_range(unit.torque_percent)
    ranking = ranked(
        evidence,
        rank,
        own.healthy_probability,
        sound_fits=unit.sound_fits,
        defect_found=defect_found,
        confirmed_counts=confirmed_counts,
    )
    return Judgement(
        verdict=unit_verdict(reasons),
        verdict_reasons=tuple(reason for _, reason in reasons),
        stages=tuple(stages),
        imbalance_percent=finite_or_none(unit.imbalance_percent),
        imbalance_expanded_uncertainty_percent=finite_or_none(unit.imbalance_expanded_uncertainty_percent),
        torque_share_percent=unit.torque_percent[0] if torque else None,
        torque_share_range_percent=torque,
        findings=findings,
        hypotheses=ranking.hypotheses,
        next_reading=ranking.next_reading,
        method_version=METHOD_VERSION,
        decision_rule=evidence.decision_rule,
        simple_verdict=simple_unit_verdict(reasons, stages),
        action=unit_action(reasons, stages, findings),
        apart=apart,
        circuit_lines=lines,
    )


def judged_together(evidences: Sequence[Evidence]) -> Batch:
    """Return visits judged at once.

    Parameters
    ----------
    evidences : sequence of Evidence
        The visits; those that share a rating, a meter or a box as one object are read fastest.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range; one bad visit refuses the batch.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating, StageReading
    >>> rating = Rating((35.0,), 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> clamp, voltmeter = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)
    >>> readings = [(StageReading(1, (1,), 13.76, amps),) for amps in (40.1, 30.1)]
    >>> batch = judged_together([Evidence(rating, clamp, voltmeter, 20.0, 5.0, reading) for reading in readings])
    >>> batch.verdicts, round(batch.answer(0).stages[0].level_percent, 1)
    (['pass', 'fail'], 99.9)
    """
    columns = columns_of(evidences)
    return Batch(evidences, columns, judge_columns(columns))


def _torque_range(torque_percent: list[float]) -> TorqueShareRange | None:
    if not all(map(isfinite, torque_percent)):
        return None
    square, linear, hot_square, hot_linear = torque_percent
    return TorqueShareRange(_ordered(square, linear), _ordered(hot_square, hot_linear))


def _ordered(one: float, other: float) -> tuple[float, float]:
    return min(one, other), max(one, other)
