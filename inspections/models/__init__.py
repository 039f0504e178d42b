"""What was measured and judged: meters, inspections and the rows beside them, trends, declines, defects."""

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
from inspections.models.defects import Defect, DefectStep
from inspections.models.inspections import ExtraReading, Inspection, Judgement
from inspections.models.meters import Calibration, Meter
from inspections.models.trends import Decline, Trend

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
    "ExtraReading",
    "Inspection",
    "Judgement",
    "Meter",
    "Trend",
]
