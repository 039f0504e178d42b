"""The night's trend: real losses of current found early, told apart, and carried forward to the lower limit.

`fit` takes many series and answers arrays; `preview` takes one and answers it in words and dates.
"""

from calc.trend.answers import Trend, preview, trend_of, years_since_epoch
from calc.trend.corrections import Corrections, looked_back_on
from calc.trend.episodes import ATTRIBUTIONS, ENDINGS, Episodes
from calc.trend.fitting import fit
from calc.trend.meter_model import MeterEffects, meter_effects
from calc.trend.method import METHOD, METHOD_VERSION
from calc.trend.noise_split import NoiseSplit, split_noise
from calc.trend.series import Resistances, SeriesBatch, series_of_rows
from calc.trend.summary import TrendBatch

__all__ = [
    "ATTRIBUTIONS",
    "ENDINGS",
    "METHOD",
    "METHOD_VERSION",
    "Corrections",
    "Episodes",
    "MeterEffects",
    "NoiseSplit",
    "Resistances",
    "SeriesBatch",
    "Trend",
    "TrendBatch",
    "fit",
    "looked_back_on",
    "meter_effects",
    "preview",
    "series_of_rows",
    "split_noise",
    "trend_of",
    "years_since_epoch",
]
