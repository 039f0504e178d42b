"""What every reading would show, for many candidates at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats
from calc.diagnosis.candidates import Candidate
from calc.diagnosis.effects import CoilFault
from calc.diagnosis.forward import Solved, Topology
from calc.diagnosis.observations import (
    LOG10_BAD_INSULATION,
    LOG10_SOUND_INSULATION,
    LOG_OPEN_OHM,
    Observation,
)
from calc.diagnosis.slots import (
    CHASSIS_GROUND,
    CLAMP_GAIN,
    CLAMP_ZERO,
    COMMON_FUSE,
    EMF,
    LEAD_CLAMP_GAIN,
    RETARDER_GROUND,
    SOURCE,
    SUPPLY,
    VOLT_GAIN,
    VOLT_ZERO,
    Slots,
)
from calc.diagnosis.stage_causes import left_by_short


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that predictions draw on; arrays have shape (candidates, rows, …)."""

    rows: Floats
    severity: Floats
    solved: Solved
    topology: Topology
    candidates: Sequence[Candidate]
    series: int

    @property
    def stages(self) -> int:
        """Return the number of stages."""
        return int(self.topology.outputs_on.shape[-1])


def predicted(scene: Scene, observations: Sequence[Observation], states: Sequence[int]) -> Floats:
    """Return what each reading shows, shape (candidates, rows, readings), in the unit in which it is compared."""
    shown = np.empty((*scene.rows.shape[:2], len(observations)))
    for index, (observation, state) in enumerate(zip(observations, states, strict=True)):
        shown[..., index] = SHOWN[observation.kind](scene, observation, state)
    return shown


def outputs_live(scene: Scene, state: int, threshold_v: float) -> Bools:
    """Return which outputs a test lamp finds live, shape (candidates, outputs)."""
    on = scene.topology.outputs_on[:, state, :]
    drop_v = np.stack([_drop_v(scene, stage, state)[:, 0] for stage in range(scene.stages)], axis=-1)
    live: Bools = on & (scene.solved.stud_v[:, :1, state] - drop_v > threshold_v)
    return live


def _current(scene: Scene, _: Observation, state: int) -> Floats:
    return scene.solved.current_a[..., state] * scene.rows[..., CLAMP_GAIN] + scene.rows[..., CLAMP_ZERO]


def _metered(scene: Scene, volts: Floats) -> Floats:
    return volts * scene.rows[..., VOLT_GAIN] + scene.rows[..., VOLT_ZERO]


def _volts(scene: Scene, _: Observation, state: int) -> Floats:
    return _metered(scene, scene.solved.stud_v[..., state])


def _drop_v(scene: Scene, stage: int, state: int) -> Floats:
    """Return stud to stage output: fuse and contact where the output is on, all of the stages' voltage where not."""
    slots = Slots(scene.stages)
    box_ohm = scene.rows[..., slots.fuse(stage)] + scene.rows[..., slots.contact(stage)]
    common_v = scene.rows[..., COMMON_FUSE] * scene.solved.return_a[..., state]
    closed_v = scene.solved.output_a[..., state, stage] * box_ohm + common_v
    on = scene.topology.outputs_on[:, state, stage, None]
    return np.where(on, closed_v, scene.solved.stages_v[..., state] + common_v)


def _contact_drop(scene: Scene, observation: Observation, state: int) -> Floats:
    return _metered(scene, _drop_v(scene, observation.stage, state))


def _output_voltage(scene: Scene, observation: Observation, state: int) -> Floats:
    return _metered(scene, scene.solved.stud_v[..., state] - _drop_v(scene, observation.stage, state))


def _fuse_drop(scene: Scene, observation: Observation, state: int) -> Floats:
    own_ohm = scene.rows[..., Slots(scene.stages).fuse(observation.stage)]
    own_v = scene.solved.output_a[..., state, observation.stage] * own_ohm
    common_v = scene.rows[..., COMMON_FUSE] * scene.solved.return_a[..., state]
    return _metered(scene, own_v + common_v)


def _lead_current_a(scene: Scene, stage: int, state: int) -> Floats:
    feeding = np.einsum("bo,bvo->bv", scene.topology.hangs_on[:, :, stage], scene.solved.output_a[..., state, :])
    return np.asarray(feeding * scene.solved.lead_share[..., stage])


def _stage_current(scene: Scene, observation: Observation, state: int) -> Floats:
    lead_a = _lead_current_a(scene, observation.stage, state)
    return lead_a * scene.rows[..., LEAD_CLAMP_GAIN] + scene.rows[..., CLAMP_ZERO]


def _coil_drop(scene: Scene, observation: Observation, state: int) -> Floats:
    group_v = _lead_current_a(scene, observation.stage, state) * scene.solved.coil_ohm[..., observation.stage]
    share = np.full(group_v.shape, 1.0 / scene.series)
    for index, candidate in enumerate(scene.candidates):
        for column, fault in candidate.coil_faults():
            if fault.stage == observation.stage:
                share[index] = coil_share(fault, scene.severity[index, :, column], observation.coil, scene.series)
    return _metered(scene, group_v * share)


def coil_share(fault: CoilFault, severity: Floats, read: int, series: int) -> Floats:
    """Return the share of a coil group's voltage that lies across one coil, with one of its coils faulty.

    Coils count from 0, string by string.

    Examples
    --------
    >>> coil_share(CoilFault(0, "shorted"), np.zeros(1), read=1, series=2).round(2).tolist()
    [1.0]
    """
    sound = np.full(severity.shape, 1.0 / series)
    if fault.coil // series != read // series:
        return sound
    if fault.kind == "open":
        return np.full(severity.shape, float(fault.coil == read))
    if fault.kind == "frame":
        return _share_before_frame(fault, severity, read % series, series)
    left = np.full(severity.shape, 1e-3) if fault.kind == "shorted" else 1.0 - np.clip(severity, 0.02, 0.97)
    return np.asarray((left if fault.coil == read else 1.0) / (series - 1 + left))


def _share_before_frame(fault: CoilFault, log_ohm: Floats, read: int, series: int) -> Floats:
    place = fault.coil % series
    left = left_by_short(place, series, log_ohm, fault.string_ohm)
    if read > place:
        return np.zeros(log_ohm.shape)
    return np.asarray((left if read == place else 1.0 / series) / (place / series + left))


def _coil_resistance(scene: Scene, observation: Observation, _: int) -> Floats:
    ohm = scene.solved.lead_ohm[..., observation.stage]
    return np.minimum(np.log(ohm), LOG_OPEN_OHM)


def _insulation(scene: Scene, observation: Observation, _: int) -> Floats:
    bad = np.array([observation.stage in candidate.frame_contacts() for candidate in scene.candidates])
    level = np.where(bad, LOG10_BAD_INSULATION, LOG10_SOUND_INSULATION)
    return np.broadcast_to(level[:, None], scene.rows.shape[:2])


def _control_voltage(scene: Scene, observation: Observation, state: int) -> Floats:
    commanded = float(observation.stage in observation.commanded)
    arrives = [commanded * (observation.stage not in candidate.missing_controls()) for candidate in scene.candidates]
    # The inputs are fed from the vehicle, not from the box: they are live with the main supply open.
    return np.asarray(arrives)[:, None] * scene.rows[..., EMF]


def _supply_drop(scene: Scene, _: Observation, state: int) -> Floats:
    return _metered(scene, scene.solved.current_a[..., state] * scene.rows[..., SUPPLY])


def _chassis_ground_drop(scene: Scene, _: Observation, state: int) -> Floats:
    return _metered(scene, scene.solved.current_a[..., state] * scene.rows[..., CHASSIS_GROUND])


def _frame_ground_drop(scene: Scene, _: Observation, state: int) -> Floats:
    return _metered(scene, scene.solved.return_a[..., state] * scene.rows[..., RETARDER_GROUND])


def _battery_voltage(scene: Scene, _: Observation, state: int) -> Floats:
    sag_v = scene.solved.current_a[..., state] * scene.rows[..., SOURCE]
    return _metered(scene, scene.rows[..., EMF] - sag_v)


SHOWN: dict[str, Callable[[Scene, Observation, int], Floats]] = {
    "volts": _volts,
    "current": _current,
    "quiescent_current": _current,
    "output_voltage": _output_voltage,
    "contact_drop": _contact_drop,
    "fuse_drop": _fuse_drop,
    "stage_current": _stage_current,
    "coil_drop": _coil_drop,
    "coil_resistance": _coil_resistance,
    "insulation_resistance": _insulation,
    "control_voltage": _control_voltage,
    "supply_drop": _supply_drop,
    "chassis_ground_drop": _chassis_ground_drop,
    "frame_ground_drop": _frame_ground_drop,
    "battery_voltage": _battery_voltage,
}
