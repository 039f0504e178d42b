"""Steps of meters that were found, and what is held of each."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.meter_parts import NO_PARTS, MeterParts


@dataclass(frozen=True, slots=True)
class FoundSteps:
    """Arrays of shape (parts,) beside the parts that begin with the steps.

    Attributes
    ----------
    parts : MeterParts
        What was read from each step on.
    scatter : ndarray
        Factor on the variance of the step, as `step_fit.Steps` has it.
    corroborated : ndarray of bool
        Whether other meters, by what they read on the same units since, tell the meter from the units.  Else the step
        is a doubt: nothing is taken out of the levels for it.
    on_file : ndarray of bool
        Whether it was found before, so that less keeps it.
    flagged : ndarray of bool
        Whether what was read since is taken out of the levels.
    """

    parts: MeterParts
    scatter: Floats
    corroborated: Bools
    on_file: Bools
    flagged: Bools

    def __len__(self) -> int:
        return len(self.parts)

    @classmethod
    def fresh(cls, meter: Ints, since_years: Floats, scatter: Floats, corroborated: Bools) -> "FoundSteps":
        """Return steps that nobody knew of."""
        none: Bools = np.zeros(len(meter), bool)
        return cls(MeterParts(meter, since_years), scatter, corroborated, none, none)

    @classmethod
    def filed(cls, parts: MeterParts, corroborated: Bools, flagged: Bools) -> "FoundSteps":
        """Return steps as an earlier night has filed them; their scatter is not known yet."""
        count = len(parts)
        return cls(parts, np.ones(count), corroborated, np.ones(count, bool), flagged)

    def as_filed(self) -> "FoundSteps":
        """Return the steps as they are found on file the next time."""
        return self.filed(self.parts, self.corroborated, self.flagged)

    def where(self, chosen: Bools) -> "FoundSteps":
        """Return some of the steps."""
        return FoundSteps(
            self.parts.where(chosen),
            self.scatter[chosen],
            self.corroborated[chosen],
            self.on_file[chosen],
            self.flagged[chosen],
        )

    def beside(self, other: "FoundSteps") -> "FoundSteps":
        """Return these and others in order."""
        parts, order = self.parts.beside(other.parts)
        names = ("scatter", "corroborated", "on_file", "flagged")
        both = {name: np.concatenate([getattr(self, name), getattr(other, name)])[order] for name in names}
        return replace(self, parts=parts, **both)


NO_STEPS = FoundSteps.filed(NO_PARTS, np.zeros(0, bool), np.zeros(0, bool))
