"""What of a judgement gets columns of its own, because lists and the night's trend read it from many rows at once."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from calc.evidence import Evidence
from calc.temperature import coil_temperature
from calc.trend import visit_noise
from fleet.models import MAX_STAGES

# Levels and uncertainties are stored as whole hundredths of a percent of rated, resistances as whole microohms.
HUNDREDTHS = 100
MICROOHM_PER_MILLIOHM = 1000
# A reading typed a thousandfold too large still has to be stored: it is evidence, and its level stays at the edge.
LARGEST_STORED = 2_000_000_000

RESISTANCE_COLUMNS = {
    "upstream_uohm": "upstream_resistance_mohm",
    "u_upstream_uohm": "upstream_expanded_uncertainty_mohm",
    "shared_ground_uohm": "shared_ground_resistance_mohm",
    "u_shared_ground_uohm": "shared_ground_expanded_uncertainty_mohm",
}
LEVEL_COLUMNS = [f"{name}_{stage}" for name in ("level", "u") for stage in range(1, MAX_STAGES + 1)]
DERIVED_FIGURES = [*LEVEL_COLUMNS, "u_meter", "u_visit", *RESISTANCE_COLUMNS]


def derived_figures(evidence: Evidence, result: Mapping[str, Any]) -> dict[str, int | None]:
    """Return the figures of a judgement by column; null where the visit says nothing."""
    figures: dict[str, int | None] = dict.fromkeys(DERIVED_FIGURES)
    for stage in result["stages"]:
        figures[f"level_{stage['stage']}"] = _whole(stage["level_percent"], HUNDREDTHS)
        figures[f"u_{stage['stage']}"] = _whole(stage["expanded_uncertainty_percent"], HUNDREDTHS)
    # Resistances of a unit without a rating rest on stages taken to be equal: good to be read, not for a trend.
    lines = (result["circuit_lines"] if evidence.rating.identified else None) or {}
    for column, name in RESISTANCE_COLUMNS.items():
        figures[column] = _whole(lines.get(name), MICROOHM_PER_MILLIOHM)
    return figures | _noise(evidence)


def _noise(evidence: Evidence) -> dict[str, int | None]:
    coil = coil_temperature(evidence)
    meter_u, visit_u = visit_noise(
        ammeter_accuracy_percent=np.array([evidence.ammeter.accuracy_percent]),
        voltmeter_accuracy_percent=np.array([evidence.voltmeter.accuracy_percent]),
        coil_temperature_c=np.array([coil.temperature_c]),
        coil_temperature_bound_c=np.array([coil.bound_c]),
        reference_temperature_c=np.array([evidence.rating.reference_temperature_c]),
    )
    return {"u_meter": _whole(float(meter_u[0]), HUNDREDTHS), "u_visit": _whole(float(visit_u[0]), HUNDREDTHS)}


def _whole(value: float | None, parts: int) -> int | None:
    return None if value is None else round(max(min(value * parts, LARGEST_STORED), -LARGEST_STORED))
