"""Where each physical quantity of a unit stands in a row, and the rows that a set of standard normal draws makes."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.diagnosis import priors
from calc.diagnosis.unit import Unit

(
    EMF,
    SOURCE,
    SUPPLY,
    RETARDER_GROUND,
    CHASSIS_GROUND,
    COMMON_FUSE,
    TEMPERATURE,
    CLAMP_GAIN,
    LEAD_CLAMP_GAIN,
    CLAMP_ZERO,
    VOLT_GAIN,
    VOLT_ZERO,
    AUXILIARY_ALWAYS,
    AUXILIARY_WITH_STAGES,
) = range(14)
FIRST_STAGE_SLOT = 14
SHARED_DRAWS = 13
OPEN_OHM = 1e12


@dataclass(frozen=True, slots=True)
class Slots:
    """Positions of the stage parts; stages count from 0."""

    stages: int

    @property
    def width(self) -> int:
        """Return the number of quantities."""
        return FIRST_STAGE_SLOT + 4 * self.stages

    @property
    def draws(self) -> int:
        """Return the number of standard normal draws that make a row."""
        return SHARED_DRAWS + 4 * self.stages

    def fuse(self, stage: int) -> int:
        """Return where a stage's fuse stands."""
        return FIRST_STAGE_SLOT + stage

    def contact(self, stage: int) -> int:
        """Return where a stage's contact stands."""
        return FIRST_STAGE_SLOT + self.stages + stage

    def lead(self, stage: int) -> int:
        """Return where a stage's lead and its joints stand."""
        return FIRST_STAGE_SLOT + 2 * self.stages + stage

    def coils(self, stage: int) -> int:
        """Return where a stage's coil group, at 20 °C, stands."""
        return FIRST_STAGE_SLOT + 3 * self.stages + stage


def physical_rows(unit: Unit, draws: Floats) -> Floats:
    """Return the physical quantities of sound units.

    Parameters
    ----------
    unit : Unit
        Medians and spreads.
    draws : ndarray, shape (…, Slots.draws)
        Standard normal draws. [-]

    Returns
    -------
    ndarray, shape (…, Slots.width)
        In the order of the slots. [V, Ω, °C, -, A, S]
    """
    stages, parts = unit.stages, unit.parts
    rows = np.empty((*draws.shape[:-1], Slots(stages).width))
    rows[..., EMF] = unit.emf_v + unit.emf_spread_v * draws[..., 0]
    shared = (parts["source"], parts["supply"], parts["retarder_ground"], parts["chassis_ground"])
    medians, spreads = np.array([part.ohm for part in shared]), np.array([part.spread for part in shared])
    rows[..., SOURCE : CHASSIS_GROUND + 1] = medians * np.exp(spreads * draws[..., 1:5])
    rows[..., COMMON_FUSE] = parts["fuse"].ohm / stages if unit.common_fuse else 0.0
    rows[..., TEMPERATURE] = unit.coil_temperature_c + unit.coil_temperature_spread_c * draws[..., 5]
    rows[..., CLAMP_GAIN] = rows[..., LEAD_CLAMP_GAIN] = 1.0 + unit.clamp_gain_spread * draws[..., 6]
    rows[..., CLAMP_ZERO] = unit.clamp_zero_spread_a * draws[..., 7]
    rows[..., VOLT_GAIN] = 1.0 + unit.volt_gain_spread * draws[..., 8]
    rows[..., VOLT_ZERO] = unit.volt_zero_spread_v * draws[..., 9]
    loads = np.exp(unit.auxiliary_spread * draws[..., 10])
    rows[..., AUXILIARY_ALWAYS] = unit.auxiliary_always_s * loads
    rows[..., AUXILIARY_WITH_STAGES] = unit.auxiliary_with_stages_s * loads
    rows[..., FIRST_STAGE_SLOT:] = _stage_parts(unit, draws)
    return rows


def _stage_parts(unit: Unit, draws: Floats) -> Floats:
    """Return fuse, contact, lead and coil group of every stage; what the leads have in common is draw 12."""
    count = unit.stages
    own = draws[..., SHARED_DRAWS:].reshape(*draws.shape[:-1], 4, count)
    fuse, contact, lead = unit.parts["fuse"], unit.parts["contact"], unit.parts["harness"]
    level = unit.coil_spread * draws[..., 11, None]
    common = draws[..., 12, None]
    fuse_ohm = 1e-6 if unit.common_fuse else fuse.ohm
    parts = [
        fuse_ohm * np.exp(fuse.spread * own[..., 0, :]),
        contact.ohm * np.exp(contact.spread * own[..., 1, :]),
        lead.ohm * np.exp(lead.spread * (0.9 * common + 0.436 * own[..., 2, :])),
        unit.coil_ohm * np.exp(level + priors.STAGE_COIL_SPREAD * own[..., 3, :]),
    ]
    return np.concatenate(parts, axis=-1)
