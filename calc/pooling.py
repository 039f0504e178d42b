"""Repeat readings of one state pooled into their means, and the scatter of the repeats (Type A)."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, everywhere
from calc.columns import Conditions, Readings
from calc.copper import LOWEST_USABLE_VOLTAGE_V

# A reading is taken within ten seconds of switching on; what the coil warms in them is part of the temperature's bound.
PROMPT_SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class Pooled:
    """Means over repeat readings; `conductance_s` is rest-corrected, `u_scatter_s` is s/√n (0 when read once).

    `late_s` is how long past the procedure's ten seconds the stage was on, 0 where not noted.
    """

    key: Ints
    count: Floats
    current_a: Floats
    supply_voltage_v: Floats
    conductance_s: Floats
    u_scatter_s: Floats
    over_range: Bools
    no_voltage: Bools
    late_s: Floats

    def take(self, index: Ints) -> "Pooled":
        """Return the pooled readings at `index`."""
        return Pooled(
            self.key[index],
            self.count[index],
            self.current_a[index],
            self.supply_voltage_v[index],
            self.conductance_s[index],
            self.u_scatter_s[index],
            self.over_range[index],
            self.no_voltage[index],
            self.late_s[index],
        )


class Conductances(NamedTuple):
    """Rest-corrected conductance of each single reading, NaN where its volts cannot be told from zero. [S]"""

    conductance_s: Floats
    over_range: Bools
    no_voltage: Bools


def reading_conductances(conditions: Conditions, readings: Readings, subtracted_a: Floats) -> Conductances:
    """Return (I − I_rest)/V of every reading.

    A voltage no larger than the voltmeter's own counts, or than 1 mV, is no voltage.
    """
    visit, voltage_v = readings.inspection, readings.supply_voltage_v
    counts_v = conditions.voltmeter.at(visit, voltage_v).counts_half_width
    dead = voltage_v <= np.maximum(counts_v, LOWEST_USABLE_VOLTAGE_V)
    over = readings.current_a > conditions.ammeter.range_max[visit]
    over |= voltage_v > conditions.voltmeter.range_max[visit]
    usable_v = np.where(dead, np.nan, voltage_v)
    return Conductances((readings.current_a - subtracted_a[visit]) / usable_v, over, dead)


def pool(key: Ints, readings: Readings, single: Conductances) -> Pooled:
    """Return the readings pooled by `key`, in ascending order of it.

    References
    ----------
    GUM (JCGM 100:2008) 4.2: the standard uncertainty of a mean is s/√n.
    """
    if everywhere(key[1:] > key[:-1]):
        return _read_once(key, readings, single)
    keys, group = np.unique(key, return_inverse=True)
    size = keys.size
    count = np.bincount(group, minlength=size).astype(np.float64)
    conductance_s = np.bincount(group, single.conductance_s, size) / count
    deviation_s = single.conductance_s - conductance_s[group]
    squares = np.bincount(group, deviation_s * deviation_s, size)
    return Pooled(
        key=keys,
        count=count,
        current_a=np.bincount(group, readings.current_a, size) / count,
        supply_voltage_v=np.bincount(group, readings.supply_voltage_v, size) / count,
        conductance_s=conductance_s,
        u_scatter_s=np.sqrt(squares / (np.maximum(count - 1, 1) * count)),
        over_range=np.bincount(group, single.over_range, size) > 0,
        no_voltage=np.bincount(group, single.no_voltage, size) > 0,
        late_s=np.bincount(group, np.fmax(readings.seconds_on - PROMPT_SECONDS, 0.0), size) / count,
    )


def _read_once(key: Ints, readings: Readings, single: Conductances) -> Pooled:
    """Return readings that ascend by key already, each of them the only one of its state."""
    return Pooled(
        key=key,
        count=np.ones(key.shape),
        current_a=readings.current_a,
        supply_voltage_v=readings.supply_voltage_v,
        conductance_s=single.conductance_s,
        u_scatter_s=np.zeros(key.shape),
        over_range=single.over_range,
        no_voltage=single.no_voltage,
        late_s=np.fmax(readings.seconds_on - PROMPT_SECONDS, 0.0),
    )
