"""Which reading judges a stage: its own, or the step by which a cumulative pass grew when it was added."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Ints
from calc.columns import Readings
from calc.pooling import Conductances, Pooled, pool

STAGE_SHIFT, VISIT_SHIFT = 8, 11
_NEVER_CHOSEN = 16


@dataclass(frozen=True, slots=True)
class StageRows:
    """One row per stage read, ascending by inspection and stage.

    `before` is the state without the stage: nothing at infinite volts for a single reading, so that every term of the
    difference vanishes.
    """

    inspection: Ints
    stage: Ints
    own: Pooled
    before: Pooled
    is_step: Bools
    lacks_predecessor: Bools


def stage_rows(readings: Readings, single: Conductances) -> StageRows:
    """Return what each stage is judged by: a single reading first, else the shortest step with a predecessor."""
    state = (readings.inspection << STAGE_SHIFT) | readings.energised
    own = pool(
        (readings.inspection << VISIT_SHIFT) | (readings.stage << STAGE_SHIFT) | readings.energised, readings, single
    )
    energised = own.key & 0xFF
    bit = np.int64(1) << ((own.key >> STAGE_SHIFT) & 7)
    if (energised == bit).all():
        nothing = np.zeros(energised.shape, dtype=np.bool_)
        return _rows(own, _nothing_before(own), nothing, nothing)
    states = pool(state, readings, single)
    wanted = ((own.key >> VISIT_SHIFT) << STAGE_SHIFT) | (energised & ~bit)
    position = np.minimum(np.searchsorted(states.key, wanted), states.key.size - 1)
    is_step = energised != bit
    lacks = is_step & (states.key[position] != wanted)
    chosen = _chosen(own, np.bitwise_count(energised) + _NEVER_CHOSEN * lacks)
    before = _before(own.take(chosen), states.take(position[chosen]), (is_step & ~lacks)[chosen])
    return _rows(own.take(chosen), before, is_step[chosen], lacks[chosen])


def _chosen(own: Pooled, rank: Ints) -> Ints:
    slot = own.key >> STAGE_SHIFT
    order = np.lexsort((rank, slot))
    first = np.ones(slot.shape, dtype=np.bool_)
    first[1:] = np.diff(slot[order]) != 0
    return order[first]


def _rows(own: Pooled, before: Pooled, is_step: Bools, lacks: Bools) -> StageRows:
    return StageRows(own.key >> VISIT_SHIFT, (own.key >> STAGE_SHIFT) & 7, own, before, is_step, lacks)


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
