"""The drawing of "Find the part": which stage is drawn, with what was read of it and where the leads go next."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _

from calc.evidence import Evidence, ExtraReading
from dashboard.drawings.circuit import Circuit, coil_paths, probes_of, shown_of, suspects_of
from dashboard.part.words import CauseGroup, LikelyCause, amount
from inspections.sentences_readings import READING_WORDS, reading_title
from inspections.services.part_search import PartSearch


def circuit_of(search: PartSearch, groups: Sequence[CauseGroup], asked: dict[str, Any] | None) -> Circuit:
    """Return the drawing of the stage in question."""
    evidence, causes = search.evidence, [cause for group in groups for cause in group.causes]
    stage = _stage_in_question(evidence, causes, asked)
    rating = evidence.rating
    values, coil = _values(evidence, stage)
    wanted_coil = None if asked is None else asked["coil"]
    return Circuit(
        stage=stage,
        others=tuple(each for each in range(1, rating.stages + 1) if each != stage),
        fuse=evidence.relay_box.fuses or "per_stage",
        insulated_return=evidence.return_path == "insulated",
        coils=coil_paths(rating.coils_in_series),
        coils_in_series=rating.coils_in_series,
        coils_in_parallel=rating.coils_in_parallel,
        suspects=suspects_of(((cause.letter, cause.cause, cause.stage) for cause in faults(causes)), stage),
        shown=shown_of(values, coil, rating.coils_in_series),
        probes=None if asked is None else probes_of(asked["kind"], wanted_coil, rating.coils_in_series),
    )


def drawn_words(circuit: Circuit, causes: Iterable[LikelyCause], asked: dict[str, Any] | None) -> list[str]:
    """Return in words what the drawing marks, for those who do not see it."""
    marked = {letter for suspect in circuit.suspects for letter in suspect.letter}
    words = [_("Suspected: %(letter)s, %(what)s.") % {"letter": each.letter, "what": each.title}
             for each in causes if each.letter in marked]  # fmt: skip
    words += [_("Read: %(value)s.") % {"value": shown.text} for shown in circuit.shown]
    if asked is not None:
        title = reading_title(asked["kind"], asked["stage"], asked["coil"])
        words.append(_("Next reading, %(what)s:") % {"what": title} + f" {READING_WORDS[asked['kind']].where}")
    return words


def faults(causes: Iterable[LikelyCause]) -> list[LikelyCause]:
    """Return the causes that are something wrong."""
    return [each for each in causes if each.cause not in ("healthy", "none_of_these")]


def _stage_in_question(evidence: Evidence, causes: Sequence[LikelyCause], asked: dict[str, Any] | None) -> int:
    if asked is not None and asked["stage"]:
        return int(asked["stage"])
    named = [each.stage for each in faults(causes) if each.stage is not None]
    read = [reading.stage for reading in evidence.stage_readings]
    return next(iter([*named, *read]), 1)


def _values(evidence: Evidence, stage: int) -> tuple[dict[str, str], int | None]:
    """Return the newest value of each kind read of the stage or of the whole unit, and the coil of a coil drop."""
    values: dict[str, str] = {}
    for reading in evidence.stage_readings:
        if reading.stage == stage and reading.energised == (stage,):
            values["volts"] = amount("volts", reading.supply_voltage_v)
            values["current"] = amount("current", reading.current_a)
    coil = None
    for extra in evidence.extra_readings:
        if _is_of(extra, stage):
            values[extra.kind] = amount(extra.kind, extra.value)
            coil = extra.coil if extra.kind == "coil_drop" else coil
    return values, coil


def _is_of(extra: ExtraReading, stage: int) -> bool:
    return extra.stage in (None, stage) if READING_WORDS[extra.kind].of_stage is False else extra.stage == stage
