"""What a fault changes in a unit's physical quantities, and by how much it may.

A severity is normal about `mean` with `spread` in its own scale; a wide range is covered by several effects.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Floats
from calc.diagnosis.slots import OPEN_OHM

Change = Callable[[Floats, Floats], None]
SEVERITIES = 2


@dataclass(frozen=True, slots=True)
class Switching:
    """How a fault changes which outputs are live and what hangs on them; stages and outputs count from 0."""

    welded: int | None = None
    none_close: bool = False
    exchanged_inputs: tuple[int, int] | None = None
    exchanged_leads: tuple[int, int] | None = None
    moved_lead: tuple[int, int] | None = None
    dark_lamps: tuple[int, ...] = ()
    missing_control: int | None = None


@dataclass(frozen=True, slots=True)
class CoilFault:
    """One coil whose share of its string differs: open, turns, shorted or frame; coils count from 0.

    `string_ohm` is its sound string, beside which a joint to the frame is sized.
    """

    stage: int
    kind: str
    coil: int = 0
    string_ohm: float = 1.0


@dataclass(frozen=True, slots=True)
class Effect:
    """One way in which a cause shows, with the share of its cases that show so."""

    share: float
    change: Change | None = None
    mean: tuple[float, float] = (0.0, 0.0)
    spread: tuple[float, float] = (0.0, 0.0)
    switching: Switching = Switching()
    coil: CoilFault | None = None
    frame_contact: int | None = None

    def is_nothing(self) -> bool:
        """Return whether nothing is changed."""
        return self.change is None and self.switching == Switching()


def spread_over(low: float, high: float, of: Callable[[float, float], Effect], step: float = 0.7) -> list[Effect]:
    """Return effects that together spread a severity evenly in its logarithm from low to high."""
    pieces = max(1, round(np.log(high / low) / step))
    width = np.log(high / low) / pieces
    means = np.log(low) + width * (np.arange(pieces) + 0.5)
    return [of(float(mean), float(0.5 * width)) for mean in means]


def adding_ohm(slot: int, mean: float, spread: float, share: float = 1.0) -> Effect:
    """Return a resistance added at a slot, its logarithm normal.  [ln Ω]"""

    def change(rows: Floats, severity: Floats) -> None:
        rows[:, slot] += np.exp(severity[:, 0])

    return Effect(share, change, (mean, 0.0), (spread, 0.0))


def opening(slot: int, **more: object) -> Effect:
    """Return a part broken open."""

    def change(rows: Floats, severity: Floats) -> None:
        rows[:, slot] = OPEN_OHM

    return replace(Effect(1.0, change), **more)  # type: ignore[arg-type]


def scaling(slot: int, factor: Callable[[Floats], Floats], mean: float = 0.0, spread: float = 0.0) -> Effect:
    """Return a part whose value is multiplied by a function of the severity."""

    def change(rows: Floats, severity: Floats) -> None:
        rows[:, slot] *= factor(severity[:, 0])

    return Effect(1.0, change, (mean, 0.0), (spread, 0.0))


def shifting(slots: Iterable[int], mean: float, spread: float, share: float) -> Effect:
    """Return quantities to which the severity itself is added."""
    places = list(slots)

    def change(rows: Floats, severity: Floats) -> None:
        rows[:, places] += severity[:, :1]

    return Effect(share, change, (mean, 0.0), (spread, 0.0))
