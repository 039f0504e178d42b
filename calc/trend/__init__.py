"""The night's trend: real losses of current found early, told apart, and carried forward to the lower limit.

`fit` takes many series and answers arrays; `preview` takes one and answers it in words and dates.
"""

from calc.trend.answers import Trend, preview, trend_of, years_since_epoch
from calc.trend.corrections import Corrections, in_tenths, looked_back_on, parts_that_count, u_in_tenths
from calc.trend.episodes import ATTRIBUTIONS, ENDINGS, Episodes
from calc.trend.expectations import ChanceFlags, SlowestLoss, flagged_by_chance_per_year, slowest_visible_loss
from calc.trend.fan import FAN_CHANCES
from calc.trend.fitting import fit, forecast_fan
from calc.trend.found_steps import NO_STEPS, FoundSteps
from calc.trend.meter_model import MeterEffects, MeterSums, meter_effects
from calc.trend.meter_parts import MeterParts
from calc.trend.meter_steps import stepped_effects
from calc.trend.meter_visits import MeterVisits
from calc.trend.method import METHOD, METHOD_VERSION
from calc.trend.noise_split import NoiseSplit, split_noise, visit_noise
from calc.trend.packed import packed_stages, unpacked_stages
from calc.trend.series import UNKNOWN_METER, Resistances, RowShape, SeriesBatch, series_of_rows
from calc.trend.settings import FIRST_DECISION_READING
from calc.trend.step_model import SteppedEffects
from calc.trend.summary import TrendBatch

__all__ = [
    "ATTRIBUTIONS",
    "ENDINGS",
    "FAN_CHANCES",
    "FIRST_DECISION_READING",
    "METHOD",
    "METHOD_VERSION",
    "NO_STEPS",
    "UNKNOWN_METER",
    "ChanceFlags",
    "Corrections",
    "Episodes",
    "FoundSteps",
    "MeterEffects",
    "MeterParts",
    "MeterSums",
    "MeterVisits",
    "NoiseSplit",
    "Resistances",
    "RowShape",
    "SeriesBatch",
    "SlowestLoss",
    "SteppedEffects",
    "Trend",
    "TrendBatch",
    "fit",
    "flagged_by_chance_per_year",
    "forecast_fan",
    "in_tenths",
    "looked_back_on",
    "meter_effects",
    "packed_stages",
    "parts_that_count",
    "preview",
    "series_of_rows",
    "slowest_visible_loss",
    "split_noise",
    "stepped_effects",
    "trend_of",
    "u_in_tenths",
    "unpacked_stages",
    "visit_noise",
    "years_since_epoch",
]
