"""The circuit of a unit as one drawing (IEC 60617): what is suspected, what was read, where the leads go next."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from dashboard.drawings.circuit_places import (
    CLAMPS,
    COIL_BOTTOM,
    COIL_TOP,
    COLUMN,
    FLAGS,
    LEADS,
    MOST_COILS_DRAWN,
    REGIONS,
    VALUES,
    Box,
    Place,
    Point,
)

BUMPS = 2
COIL_GAP = 6.0


@dataclass(frozen=True, slots=True)
class Suspect:
    """A part that a likely cause lies in: its frame, and the letter that the list has for the cause."""

    letter: str
    box: Box
    flag: Point


@dataclass(frozen=True, slots=True)
class Shown:
    """A value beside the point it was read at."""

    place: Place
    text: str


@dataclass(frozen=True, slots=True)
class Probes:
    """Where the next reading is taken: two points and the way of the leads, or one clamp; the meter's letter."""

    ends: tuple[Point, ...]
    way: str
    meter: Point | None
    clamp: Box | None
    letter: str


@dataclass(frozen=True, slots=True)
class Circuit:
    """What is drawn of a unit: one stage in full, the others as one branch beside it."""

    stage: int
    others: tuple[int, ...]
    fuse: str
    insulated_return: bool
    coils: tuple[str, ...]
    coils_in_series: int
    coils_in_parallel: int
    suspects: tuple[Suspect, ...]
    shown: tuple[Shown, ...]
    probes: Probes | None


def suspects_of(lettered: Iterable[tuple[str, str, int | None]], stage: int) -> tuple[Suspect, ...]:
    """Return the parts that lettered causes (letter, cause, stage) lie in, as far as the drawn stage has them.

    Causes of one part share a frame, their letters side by side.
    """
    letters: dict[str, str] = {}
    for letter, cause, of_stage in lettered:
        if cause in FLAGS and of_stage in (None, stage):
            letters[FLAGS[cause]] = letters.get(FLAGS[cause], "") + letter
    return tuple(Suspect(marks, REGIONS[part], _flag(REGIONS[part])) for part, marks in letters.items())


def shown_of(values: Mapping[str, str], coil: int | None, series: int) -> tuple[Shown, ...]:
    """Return values, by kind of reading, each at its place; the drop across a coil stands beside that coil."""
    found = [Shown(VALUES[kind], text) for kind, text in values.items() if kind in VALUES]
    if "coil_drop" in values and coil is not None:
        _top, bottom = coil_ends(coil, series)
        found.append(Shown(Place(COLUMN + 30, bottom - 4, "start"), values["coil_drop"]))
    return tuple(found)


def probes_of(kind: str, coil: int | None, series: int) -> Probes | None:
    """Return where the leads of a reading go, None where the drawing has no such place."""
    letter = {"stage_current": "A", "quiescent_current": "A"}.get(kind, "Ω" if kind.endswith("resistance") else "V")
    if kind in CLAMPS:
        return Probes((), "", None, CLAMPS[kind], letter)
    if kind == "coil_drop":
        top, bottom = coil_ends(coil or 1, series)
        way = [(COLUMN, top), (COLUMN + 84, top), (COLUMN + 84, bottom), (COLUMN, bottom)]
        return _leads(way, letter)
    return _leads(LEADS[kind], letter) if kind in LEADS else None


def coil_ends(coil: int, series: int) -> tuple[float, float]:
    """Return where a coil of the drawn string begins and ends, counted from 1 and down from the lead."""
    drawn = min(series, MOST_COILS_DRAWN)
    height = (COIL_BOTTOM - COIL_TOP - COIL_GAP * (drawn - 1)) / drawn
    place = (coil - 1) % series if series <= MOST_COILS_DRAWN else 0
    top = COIL_TOP + place * (height + COIL_GAP)
    return top, top + height


def coil_paths(series: int) -> tuple[str, ...]:
    """Return the coils of one string as rows of half circles."""
    return tuple(_coil(*coil_ends(coil, series)) for coil in range(1, min(series, MOST_COILS_DRAWN) + 1))


def _coil(top: float, bottom: float) -> str:
    radius = (bottom - top) / (2 * BUMPS)
    arcs = f"a{radius:.2f} {radius:.2f} 0 0 1 0 {2 * radius:.2f}" * BUMPS
    return f"M{COLUMN} {top:.2f}{arcs}"


def _leads(way: Sequence[Point], letter: str) -> Probes:
    start, *_between, end = way
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in way)
    (x1, y1), (x2, y2) = way[1], way[2]
    return Probes((start, end), path, ((x1 + x2) / 2, (y1 + y2) / 2), None, letter)


def _flag(box: Box) -> Point:
    return box.x - 2, box.y + box.height / 2 + 5
