"""Likely causes, expected values and readings taken, in the words of "Find the part"."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.translation import gettext as _

from calc.diagnosis.rank import Ranking
from calc.diagnosis.witnesses import Witness
from calc.judgement import Expectation, Hypothesis
from inspections.sentences import sentence
from inspections.sentences_causes import CAUSE_WORDS, cause_title, chance_words
from inspections.sentences_readings import READING_WORDS, reading_title, state_words

SMALLEST_SHOWN = 0.02
MOST_GROUPS = 5
LETTERS = "ABCDEFGHIJKLMNOP"
# Two expected values closer than this share are one to the eye.
SAME_SHARE, SAME_VALUE = 0.04, 0.02
MILLI = 1000.0
SMALLEST_TOLD, NEXT_TO_NOTHING = 0.0005, 0.01
MOST_PARTNERS = 3
AMPS_KINDS = {"current", "stage_current", "quiescent_current"}


@dataclass(frozen=True, slots=True)
class LikelyCause:
    """One cause as the list shows it, with the reading that speaks for it."""

    letter: str
    cause: str
    stage: int | None
    title: str
    partners: tuple[str, ...]
    witness: str
    remedy: str


@dataclass(frozen=True, slots=True)
class CauseGroup:
    """Causes that no reading taken tells apart, with what they have together."""

    causes: tuple[LikelyCause, ...]
    percent: float
    chance: str


def cause_groups(ranking: Ranking) -> list[CauseGroup]:
    """Return the likely causes, those that cannot be told apart together; what is hardly likely is left out."""
    shown: list[list[Hypothesis]] = []
    for _number, members in groupby(ranking.hypotheses, key=lambda each: each.group):
        group = list(members)
        if sum(each.probability for each in group) >= SMALLEST_SHOWN:
            shown.append([each for each in group if each.probability >= SMALLEST_SHOWN / 4])
    shown = [group for group in shown if group][:MOST_GROUPS]
    letters = iter(LETTERS)
    return [_group(group, ranking, letters) for group in shown]


def _group(group: Sequence[Hypothesis], ranking: Ranking, letters: Iterator[str]) -> CauseGroup:
    chance = min(sum(each.probability for each in group), 1.0)
    causes = tuple(_cause(each, ranking, next(letters, "")) for each in group)
    return CauseGroup(causes, 100 * chance, chance_words(chance))


def _cause(each: Hypothesis, ranking: Ranking, letter: str) -> LikelyCause:
    witness = ranking.witnesses.get((each.cause, each.stage))
    return LikelyCause(
        letter,
        each.cause,
        each.stage,
        cause_title(each.cause, each.stage),
        tuple(cause_title(partner.cause, partner.stage) for partner in each.together_with[:MOST_PARTNERS]),
        "" if witness is None else _witness_words(witness),
        sentence(each.remedy, {}),
    )


def _witness_words(witness: Witness) -> str:
    return _("%(reading)s, %(state)s: %(value)s; without it %(without)s") % {
        "reading": reading_title(witness.kind, witness.stage, witness.coil),
        "state": _state(witness.kind, list(witness.energised)),
        "value": amount(witness.kind, witness.value),
        "without": amount(witness.kind, witness.without_cause),
    }


def _state(kind: str, energised: list[int]) -> str:
    return state_words(energised, isolated=kind.endswith("_resistance"))


def amount(kind: str, value: float | None) -> str:
    """Return a value with its unit, rounded for reading; no value is an open circuit.

    >>> amount("output_voltage", 13.276), amount("contact_drop", 0.0873), amount("coil_resistance", 0.3416)
    ('13.3 V', '0.087 V', '0.342 Ω')
    """
    if value is None:
        return _("over range")
    unit = READING_WORDS[kind].unit if kind in READING_WORDS else ("A" if kind in AMPS_KINDS else "V")
    size = abs(value)
    if size < SMALLEST_TOLD:
        return f"0 {unit}"
    if size >= 1e6:
        return f"{value / 1e6:.3g} M{unit}"
    digits = 0 if size >= 1000 else 1 if size >= 10 else 2 if size >= 1 else 3
    return f"{value:.{digits}f} {unit}"


def expected_lines(kind: str, expected: Sequence[Expectation]) -> list[tuple[str, str]]:
    """Return what the reading would show and under which causes, values that look the same together."""
    clusters: list[list[Expectation]] = []
    for each in sorted(expected, key=lambda one: float("inf") if one.value is None else one.value):
        if clusters and _looks_same(clusters[-1][0].value, each.value):
            clusters[-1].append(each)
        else:
            clusters.append([each])
    return [(amount(kind, _plain(cluster[0].value)), _any_of(cluster)) for cluster in clusters]


def _plain(value: float | None) -> float | None:
    """Return the value, next to nothing as nothing: the fit of a meter's zero is no news to who holds the meter."""
    return 0.0 if value is not None and abs(value) < NEXT_TO_NOTHING else value


def _looks_same(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= max(SAME_SHARE * max(abs(one), abs(other)), SAME_VALUE)


def _any_of(cluster: Sequence[Expectation]) -> str:
    stages = {each.stage for each in cluster}
    titles = (
        [str(CAUSE_WORDS[each.cause]) for each in cluster]
        if len(stages) == 1
        else [cause_title(each.cause, each.stage) for each in cluster]
    )
    return _(" or ").join(dict.fromkeys(titles))


def taken_readings(extra: Iterable[Any], added: Sequence[Any]) -> list[dict[str, Any]]:
    """Return the extra readings of the check and those added since, with who added each and when."""
    rows: list[Any] = [*[(each, None) for each in extra], *[(row, row) for row in added]]
    return [
        {
            "what": reading_title(each.kind, each.stage, each.coil),
            "state": _state(each.kind, list(each.energised or [])),
            "value": amount(each.kind, None if each.value is None else float(each.value)),
            "row": row,
        }
        for each, row in rows
    ]


def resistances(ranking: Ranking) -> Mapping[str, Any]:
    """Return the resistances of the likeliest circuit in mΩ; None where nothing tells them, or a stage is open."""
    stages = [None if ohm is None else MILLI * ohm for ohm in ranking.stage_ohm]
    shared, upstream = ranking.shared_ground_ohm, ranking.upstream_ohm
    return {
        "known": shared is not None,
        "upstream_mohm": None if upstream is None else MILLI * upstream,
        "stages_mohm": list(enumerate(stages, start=1)),
        "shared_ground_mohm": None if shared is None else MILLI * shared,
    }
