"""From stored inspections to what the trend is fitted to."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats, Ints
from calc.evidence import Evidence
from calc.temperature import coil_temperature
from calc.trend import NoiseSplit, SeriesBatch, series_of_rows, split_noise, years_since_epoch
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from fleet.models import Installation
from inspections.models import Calibration, Inspection
from inspections.services.judging import HUNDREDTHS, evidence_anew

# A check that proves a repair, and the first of a unit, begin a new baseline.
BEGINNINGS = {"retest", "first"}

ClampPeriod = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Histories:
    """The visits of some installations, oldest first, beside the batch made of them; `clamps` number its meters."""

    installations: list[Installation]
    visits: list[list[Inspection]]
    clamps: dict[ClampPeriod, int]
    batch: SeriesBatch


def histories_of(installations: Sequence[Installation], visits: Iterable[Inspection]) -> Histories:
    """Return the series of the installations that have visits; a unit's history follows it between vehicles."""
    by_unit = defaultdict(list)
    for visit in visits:
        by_unit[visit.installation.retarder_id].append(visit)
    read = [installation for installation in installations if by_unit[installation.retarder_id]]
    histories = [by_unit[installation.retarder_id] for installation in read]
    clamps, meters = _clamp_periods([visit for history in histories for visit in history])
    return Histories(read, histories, clamps, _batch(read, histories, meters))


def _batch(
    installations: Sequence[Installation], histories: Sequence[Sequence[Inspection]], meters: Ints
) -> SeriesBatch:
    rows = [(number, visit) for number, history in enumerate(histories) for visit in history]
    visits = [visit for _number, visit in rows]
    stages = np.array([installation.retarder.retarder_type.stages for installation in installations], np.int64)
    most = int(stages.max(initial=1))
    levels = _table(visits, "level", most)
    split = _split(visits, levels, _table(visits, "u", most) / NORMAL_COVERAGE_FACTOR)
    return series_of_rows(
        np.array([number for number, _visit in rows], np.int64),
        years_since_epoch([visit.performed_at for visit in visits]),
        levels,
        split.own_percent,
        split.shared_percent,
        stages=stages,
        lower_limit_percent=_lower_limits(histories, most),
        temperature_known=np.array([visit.coil_temperature_method != "unknown" for visit in visits], bool),
        meters=meters,
        repaired=np.array([visit.purpose in BEGINNINGS for visit in visits], bool),
        moved=_moved(histories),
    )


def _table(visits: Sequence[Inspection], name: str, most: int) -> Floats:
    columns = [f"{name}_{stage}" for stage in range(1, most + 1)]
    rows = [[getattr(visit, column) for column in columns] for visit in visits]
    return np.array(rows, dtype=np.float64).reshape(len(visits), most) / HUNDREDTHS


def _split(visits: Sequence[Inspection], levels: Floats, u: Floats) -> NoiseSplit:
    evidences = [_evidence(visit) for visit in visits]
    coils = [coil_temperature(evidence) for evidence in evidences]
    return split_noise(
        levels,
        u,
        ammeter_accuracy_percent=np.array([evidence.ammeter.accuracy_percent for evidence in evidences]),
        voltmeter_accuracy_percent=np.array([evidence.voltmeter.accuracy_percent for evidence in evidences]),
        coil_temperature_c=np.array([coil.temperature_c for coil in coils]),
        coil_temperature_bound_c=np.array([coil.bound_c for coil in coils]),
        reference_temperature_c=np.array([evidence.rating.reference_temperature_c for evidence in evidences]),
    )


def _evidence(visit: Inspection) -> Evidence:
    # The rule has no part in levels; the simple one needs nothing beside it.
    return evidence_anew(
        visit, visit.rating_revision, decision_rule="simple", max_false_accept_probability=None, corrections={}
    )


def _lower_limits(histories: Sequence[Sequence[Inspection]], most: int) -> Floats:
    tolerances = [history[-1].rating_revision.tolerance_lower_percent for history in histories]
    limits = np.array([np.nan if tolerance is None else 100.0 - tolerance for tolerance in tolerances])
    return np.repeat(limits[:, None], most, axis=1)


def _moved(histories: Sequence[Sequence[Inspection]]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    moved = [
        place > 0 and visit.installation_id != history[place - 1].installation_id
        for history in histories
        for place, visit in enumerate(history)
    ]
    return np.array(moved, bool)


def _clamp_periods(visits: Sequence[Inspection]) -> tuple[dict[ClampPeriod, int], Ints]:
    """Number the clamps; one clamp between two calibrations is one meter, for it may read otherwise afterwards."""
    calibrated = defaultdict(list)
    rows = Calibration.objects.filter(meter__in={visit.ammeter_id for visit in visits}).order_by("performed_on")
    for meter, performed_on in rows.values_list("meter", "performed_on"):
        calibrated[meter].append(performed_on)
    periods = [(visit.ammeter_id, bisect_right(calibrated[visit.ammeter_id], visit.performed_on)) for visit in visits]
    numbers = {period: number for number, period in enumerate(dict.fromkeys(periods))}
    return numbers, np.array([numbers[period] for period in periods], np.int64)
