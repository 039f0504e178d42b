"""What was measured and judged: meters, inspections and the rows beside them, trends, declines, defects."""

from inspections.models.chunks import DueDateChunk
from inspections.models.codes import (
    ENGINE_STATES,
    EXTRA_READING_KINDS,
    PURPOSES,
    RELEASE_DECISIONS,
    STAGES,
    TEMPERATURE_METHODS,
    VERDICT_CODES,
    VERDICTS,
)
from inspections.models.defects import Defect, DefectStep, ReleaseNotice
from inspections.models.driver_links import DriverLink
from inspections.models.inspections import ExtraReading, Inspection, Judgement
from inspections.models.limits import LimitsRevision
from inspections.models.meters import Calibration, Meter, MeterComparison
from inspections.models.photos import Photo
from inspections.models.rejudgings import RejudgedVerdict, Rejudging
from inspections.models.trends import Decline, MeterEffect, Trend, TrendChunk, TrendNews

__all__ = [
    "ENGINE_STATES",
    "EXTRA_READING_KINDS",
    "PURPOSES",
    "RELEASE_DECISIONS",
    "STAGES",
    "TEMPERATURE_METHODS",
    "VERDICTS",
    "VERDICT_CODES",
    "Calibration",
    "Decline",
    "Defect",
    "DefectStep",
    "DriverLink",
    "DueDateChunk",
    "ExtraReading",
    "Inspection",
    "Judgement",
    "LimitsRevision",
    "Meter",
    "MeterComparison",
    "MeterEffect",
    "Photo",
    "RejudgedVerdict",
    "Rejudging",
    "ReleaseNotice",
    "Trend",
    "TrendChunk",
    "TrendNews",
]
