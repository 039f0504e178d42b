"""From weighed candidates to the answer: causes most probable first, those that cannot be told apart side by side."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from calc.diagnosis.candidates import Cause
from calc.diagnosis.weigh import NONE_OF_THESE, Weighed
from calc.hypotheses import REMEDIES
from calc.judgement import Hypothesis, Partner

# Misfits that differ by less than two standard deviations do not tell two causes apart.
SAME_MISFIT = 4.0
# A cause this much less probable than another has been told from it by the sizes that it would need.
SMALLEST_SHARE = 0.01
# What is less probable is not named, and counted as none of those named.
SMALLEST_NAMED = 5e-4

Place = tuple[str, int | None]


@dataclass(slots=True)
class _Entry:
    probability: float = 0.0
    group: int = 0
    partners: list[Partner] = field(default_factory=list)


def hypotheses_of(weighed: Weighed) -> tuple[Hypothesis, ...]:
    """Return every cause worth naming, probabilities summing to one."""
    labels = weighed.by_causes()
    probability = {causes: float(weighed.weights[places].sum()) for causes, places in labels.items()}
    named = sorted(
        (causes for causes in labels if probability[causes] >= SMALLEST_NAMED), key=lambda c: -probability[c]
    )
    groups = _groups(weighed, labels, probability, named)
    entries: dict[Place, _Entry] = {}
    for causes in named:
        for cause, place, partners in _places(causes):
            entry = entries.setdefault((cause, place), _Entry(group=groups[causes]))
            entry.probability += probability[causes] / _count(causes)
            entry.partners += [partner for partner in partners if partner not in entry.partners]
    rest = 1.0 - sum(entry.probability for entry in entries.values())
    entries[NONE_OF_THESE.code, None] = _Entry(max(rest, 0.0), group=-1)
    return _numbered(entries)


def _groups(
    weighed: Weighed,
    labels: dict[tuple[Cause, ...], list[int]],
    probability: dict[tuple[Cause, ...], float],
    named: list[tuple[Cause, ...]],
) -> dict[tuple[Cause, ...], int]:
    """Return a group for each label: the likeliest takes all whose misfit is the same, then the next."""
    misfit = {causes: float(np.min(weighed.fit.misfit[labels[causes]])) for causes in named}
    groups: dict[tuple[Cause, ...], int] = {}
    for leader in named:
        if leader in groups:
            continue
        groups[leader] = len(groups)
        for other in named:
            alike = abs(misfit[other] - misfit[leader]) < SAME_MISFIT
            alike &= probability[other] >= SMALLEST_SHARE * probability[leader]
            if other not in groups and alike and _may_share(weighed, labels, leader, other):
                groups[other] = groups[leader]
    return groups


def _may_share(
    weighed: Weighed, labels: dict[tuple[Cause, ...], list[int]], leader: tuple[Cause, ...], other: tuple[Cause, ...]
) -> bool:
    """Return whether two labels may share a group: a slight fault is near to none, but not the same as none."""
    if leader[0].code != "healthy" and other[0].code != "healthy":
        return True
    faulty = other if leader[0].code == "healthy" else leader
    effects = [effect for place in labels[faulty] for effect in weighed.fit.candidates[place].effects]
    return all(effect.spread == (0.0, 0.0) for effect in effects)


def _places(causes: tuple[Cause, ...]) -> Iterator[tuple[str, int | None, list[Partner]]]:
    for cause in causes:
        partners = [Partner(o.code, stage) for o in causes if o is not cause for stage in o.stages or (None,)]
        for stage in cause.stages or (None,):
            yield cause.code, stage, partners


def _count(causes: tuple[Cause, ...]) -> int:
    """Return among how many entries a label's probability is shared out, evenly."""
    return sum(max(len(cause.stages), 1) for cause in causes)


def _numbered(entries: dict[Place, _Entry]) -> tuple[Hypothesis, ...]:
    """Return the entries by falling probability; a group parted by another cause goes on under a new number."""
    ordered = sorted(entries.items(), key=lambda item: (-item[1].probability, item[1].group))
    answer: list[Hypothesis] = []
    number, before = 0, None
    for (cause, stage), entry in ordered:
        number += entry.group != before
        before = entry.group
        answer.append(Hypothesis(cause, stage, entry.probability, number, REMEDIES[cause], tuple(entry.partners)))
    return tuple(answer)
