"""Published measurement studies, as tests of the model that tells meters apart.

Origin S: seen in a secondary source.  L: ships inside a Python package.  M: from memory, recomputed exactly.
"""

import numpy as np
import numpy.typing as npt
import pytest

from calc.arrays import Floats
from calc.trend.meter_model import EFFECT_SD_PERCENT, MeterEffects, meter_effects

# H3, AIAG Measurement Systems Analysis (4th ed.), 10 parts (rows) × 3 appraisers × 3 trials (S).
APPRAISED = """
 .29  .41  .64   .08  .25  .07   .04 -.11 -.15
-.56 -.68 -.58  -.47 -1.22 -.68 -1.38 -1.13 -.96
1.34 1.17 1.27  1.19  .94 1.34   .88 1.09  .67
 .47  .50  .64   .01 1.03  .20   .14  .20  .11
-.80 -.92 -.84  -.56 -1.20 -1.28 -1.46 -1.07 -1.45
 .02 -.11 -.21  -.20  .22  .06  -.29 -.67 -.49
 .59  .75  .66   .47  .55  .83   .02  .01  .21
-.31 -.20 -.17  -.63  .08 -.34  -.46 -.56 -.49
2.26 1.99 2.01  1.80 2.12 2.19  1.77 1.45 1.87
-1.36 -1.25 -1.31 -1.68 -1.62 -1.50 -1.49 -1.77 -2.16
"""


def effects_of(units: npt.ArrayLike, meters: npt.ArrayLike, values: Floats, variance: float) -> MeterEffects:
    unit, meter = np.asarray(units, np.int64), np.asarray(meters, np.int64)
    return meter_effects(
        unit,
        meter,
        np.zeros(len(values)),
        values,
        np.full(len(values), variance),
        units=int(unit.max()) + 1,
        meters=int(meter.max()) + 1,
    )


def test_the_appraiser_who_reads_low() -> None:
    # H3: effects +0.189, +0.067 and −0.256 about their mean; a small variance leaves nothing to shrink.
    values = np.array(APPRAISED.split(), float)
    part, appraiser = np.repeat(np.arange(10), 9), np.tile(np.repeat(np.arange(3), 3), 10)
    found = effects_of(part, appraiser, values, 1e-6)
    about_mean = found.effect_percent - found.effect_percent.mean()
    assert about_mean == pytest.approx([0.189, 0.067, -0.256], abs=6e-4)


def test_shrunk_effects_of_one_way_random_batches() -> None:
    # H5, Davies' dyestuff, REML (M): variances 1764.05 and 2451.25, predictions relative to the mean of 1527.5.
    batches = """1545 1440 1440 1520 1580  1540 1555 1490 1560 1495  1595 1550 1605 1510 1560
                 1445 1440 1595 1465 1545  1595 1630 1515 1635 1625  1520 1455 1450 1480 1445"""
    predicted = np.array([-17.607, 0.391, 28.563, -23.085, 56.734, -44.996])
    scale = EFFECT_SD_PERCENT / np.sqrt(1764.05)
    values = scale * (np.array(batches.split(), float) - 1527.5)
    found = effects_of(np.zeros(30), np.repeat(np.arange(6), 5), values, scale**2 * 2451.25)
    assert found.effect_percent / scale == pytest.approx(predicted - np.median(predicted), abs=2e-3)


def test_the_instrument_that_reads_low_in_the_seventh_digit() -> None:
    # H2, NIST StRD AtmWtAg (L): 107.868 + 1e-7 × these; instrument 2 reads low, F = 15.9467335677930.
    first = """1568 1465 1572 1785 1446 1903 1526 1494 1616 1587 1519 1486
               1419 1569 1508 1672 1385 1518 1662 1424 1360 1333 1610 1477"""
    second = """1079 1344 1513 1197 1604 1385 1642 1365 1151 1082 1517 1448
                1198 1482 1334 1609 1101 1512 1469 1360 1254 1261 1450 1368"""
    one, two = (np.array(each.split(), float) for each in (first, second))
    within = (np.sum((one - one.mean()) ** 2) + np.sum((two - two.mean()) ** 2)) / 46
    f = (one.mean() - two.mean()) ** 2 * 12 / within
    assert f == pytest.approx(15.9467335677930, rel=1e-10)
    scale = 1e-3
    found = effects_of(np.zeros(48), np.repeat([0, 1], 24), scale * np.concatenate([one, two]), scale**2 * within / 1e4)
    low = found.effect_percent[1] - found.effect_percent[0]
    assert low / scale == pytest.approx(two.mean() - one.mean(), rel=1e-4)
