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
# Of a lead's spread: what all leads of a unit have in common, and what is each one's own.
COMMON_SHARE_OF_LEAD, OWN_SHARE_OF_LEAD = 0.9, 0.436


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
        lead.ohm * np.exp(lead.spread * (COMMON_SHARE_OF_LEAD * common + OWN_SHARE_OF_LEAD * own[..., 2, :])),
        unit.coil_ohm * np.exp(level + priors.STAGE_COIL_SPREAD * own[..., 3, :]),
    ]
    return np.concatenate(parts, axis=-1)


_LOGARITHMIC = np.ones(FIRST_STAGE_SLOT, dtype=np.bool_)
_LOGARITHMIC[[EMF, TEMPERATURE, CLAMP_GAIN, LEAD_CLAMP_GAIN, CLAMP_ZERO, VOLT_GAIN, VOLT_ZERO]] = False


@dataclass(frozen=True, slots=True)
class SoundRows:
    """The same rows as a median of every quantity and what each draw adds to it, or to its logarithm.

    For many units at once: `medians` has shape (…, Slots.width), `loadings` (…, Slots.width, Slots.draws).
    """

    medians: Floats
    loadings: Floats

    def at(self, draws: Floats) -> Floats:
        """Return the rows of draws, shape (…, rows, Slots.draws); they agree with `physical_rows`."""
        added = draws @ self.loadings.swapaxes(-1, -2)
        medians = self.medians[..., None, :]
        logarithmic = np.ones(medians.shape[-1], dtype=np.bool_)
        logarithmic[:FIRST_STAGE_SLOT] = _LOGARITHMIC
        rows: Floats = np.where(logarithmic, medians * np.exp(added * logarithmic), medians + added)
        return rows


def sound_rows_of(unit: Unit) -> SoundRows:
    """Return medians and loadings of one unit."""
    slots, parts = Slots(unit.stages), unit.parts
    medians, loadings = np.empty(slots.width), np.zeros((slots.width, slots.draws))
    named = [parts[name] for name in ("source", "supply", "retarder_ground", "chassis_ground")]
    medians[:FIRST_STAGE_SLOT] = [
        unit.emf_v,
        *(part.ohm for part in named),
        parts["fuse"].ohm / unit.stages if unit.common_fuse else 0.0,
        unit.coil_temperature_c,
        *(1.0, 1.0, 0.0, 1.0, 0.0),
        unit.auxiliary_always_s,
        unit.auxiliary_with_stages_s,
    ]
    loadings[EMF, 0] = unit.emf_spread_v
    for place, part in enumerate(named, start=1):
        loadings[place, place] = part.spread
    loadings[TEMPERATURE, 5] = unit.coil_temperature_spread_c
    loadings[[CLAMP_GAIN, LEAD_CLAMP_GAIN], 6] = unit.clamp_gain_spread
    loadings[CLAMP_ZERO, 7] = unit.clamp_zero_spread_a
    loadings[VOLT_GAIN, 8] = unit.volt_gain_spread
    loadings[VOLT_ZERO, 9] = unit.volt_zero_spread_v
    loadings[[AUXILIARY_ALWAYS, AUXILIARY_WITH_STAGES], 10] = unit.auxiliary_spread
    _add_stage_parts(unit, medians, loadings)
    return SoundRows(medians, loadings)


def _add_stage_parts(unit: Unit, medians: Floats, loadings: Floats) -> None:
    stages, own = np.arange(unit.stages), SHARED_DRAWS + np.arange(unit.stages)
    fuse, contact, lead = unit.parts["fuse"], unit.parts["contact"], unit.parts["harness"]
    fuse_ohm = 1e-6 if unit.common_fuse else fuse.ohm
    spreads = (fuse.spread, contact.spread, OWN_SHARE_OF_LEAD * lead.spread, priors.STAGE_COIL_SPREAD)
    in_line: list[float | Floats] = [fuse_ohm, contact.ohm, lead.ohm, unit.coil_ohm]
    for kind, (ohm, spread) in enumerate(zip(in_line, spreads, strict=True)):
        places = FIRST_STAGE_SLOT + kind * unit.stages + stages
        medians[places] = ohm
        loadings[places, own + kind * unit.stages] = spread
    leads, coils = (FIRST_STAGE_SLOT + kind * unit.stages + stages for kind in (2, 3))
    loadings[leads, 12] = COMMON_SHARE_OF_LEAD * lead.spread
    loadings[coils, 11] = unit.coil_spread
