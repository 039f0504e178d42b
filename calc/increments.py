"""Which reading judges a stage: its own, or the step by which a cumulative pass grew when it was added."""

from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, anywhere, everywhere
from calc.columns import Readings
from calc.pooling import Conductances, Pooled, pool

STAGE_SHIFT, VISIT_SHIFT = 8, 11
_NEVER_CHOSEN = 16


class StageRows(NamedTuple):
    """One row per stage read, ascending by inspection and stage.

    `before` is the state without the stage: nothing at infinite volts for a single reading, so that every term of the
    difference vanishes.  `added_s` is that difference, the stage's own conductance.
    """

    inspection: Ints
    stage: Ints
    own: Pooled
    before: Pooled
    added_s: Floats
    is_step: Bools
    lacks_predecessor: Bools
    has_steps: bool


def stage_rows(readings: Readings, single: Conductances) -> StageRows:
    """Return what each stage is judged by: a single reading first, else the shortest step with a predecessor."""
    own = pool(
        (readings.inspection << VISIT_SHIFT) | (readings.stage << STAGE_SHIFT) | readings.energised, readings, single
    )
    energised = own.key & 0xFF
    bit = np.int64(1) << ((own.key >> STAGE_SHIFT) & 7)
    if everywhere(energised == bit):
        nothing = _nothing_before(own)
        return _rows(own, nothing, own.conductance_s, nothing.no_voltage, nothing.no_voltage, has_steps=False)
    states = pool((readings.inspection << STAGE_SHIFT) | readings.energised, readings, single)
    wanted = ((own.key >> VISIT_SHIFT) << STAGE_SHIFT) | (energised & ~bit)
    position = np.minimum(np.searchsorted(states.key, wanted), states.key.size - 1)
    is_step = energised != bit
    lacks = is_step & (states.key[position] != wanted)
    chosen = _chosen(own, np.bitwise_count(energised) + _NEVER_CHOSEN * lacks)
    own, is_step, lacks = own.take(chosen), is_step[chosen], lacks[chosen]
    before = _before(own, states.take(position[chosen]), is_step & ~lacks)
    added_s = own.conductance_s - before.conductance_s
    return _rows(own, before, added_s, is_step, lacks, has_steps=anywhere(is_step))


def _chosen(own: Pooled, rank: Ints) -> Ints:
    slot = own.key >> STAGE_SHIFT
    order = np.lexsort((rank, slot))
    first = np.ones(slot.shape, dtype=np.bool_)
    first[1:] = np.diff(slot[order]) != 0
    return order[first]


def _rows(own: Pooled, before: Pooled, added_s: Floats, is_step: Bools, lacks: Bools, *, has_steps: bool) -> StageRows:
    visit, stage = own.key >> VISIT_SHIFT, (own.key >> STAGE_SHIFT) & 7
    return StageRows(visit, stage, own, before, added_s, is_step, lacks, has_steps)


def _nothing_before(own: Pooled) -> Pooled:
    zero = np.zeros(own.key.shape)
    never = np.zeros(own.key.shape, dtype=np.bool_)
    return Pooled(own.key, zero + 1, zero, zero + np.inf, zero, zero, never, never, zero)


def _before(own: Pooled, state: Pooled, stepped: Bools) -> Pooled:
    nothing = _nothing_before(own)
    return Pooled(
        own.key,
        np.where(stepped, state.count, nothing.count),
        np.where(stepped, state.current_a, nothing.current_a),
        np.where(stepped, state.supply_voltage_v, nothing.supply_voltage_v),
        np.where(stepped, state.conductance_s, nothing.conductance_s),
        np.where(stepped, state.u_scatter_s, nothing.u_scatter_s),
        stepped & state.over_range,
        stepped & state.no_voltage,
        np.where(stepped, state.late_s, nothing.late_s),
    )
