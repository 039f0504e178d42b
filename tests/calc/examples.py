"""The 12 V example unit and its cumulative passes, solved by nodal analysis (derived; assumed example values)."""

from calc.evidence import Evidence, Rating, RestReading
from calc.judge import judge as judge_with_causes
from calc.judgement import CircuitLines, Judgement
from tests.calc.builders import cumulative_pass, evidence

# Volts and amps at steps 0 to 4.
V_HEALTHY, A_HEALTHY = (14.00, 13.76, 13.53, 13.30, 13.09), (0.0, 40.1, 78.6, 115.6, 151.1)
V_GROUND, A_GROUND = (14.00, 13.77, 13.56, 13.38, 13.21), (0.0, 38.5, 72.5, 102.8, 130.0)
V_UPSTREAM, A_UPSTREAM = (14.00, 13.45, 12.94, 12.48, 12.05), (0.0, 39.2, 75.2, 108.4, 139.1)
V_LOW, A_LOW = (12.20, 11.82, 11.46, 11.13, 10.82), (0.0, 34.5, 66.6, 96.7, 124.9)
V_HOT, A_HOT = (14.00, 13.84, 13.68, 13.52, 13.38), (0.0, 27.0, 53.2, 78.7, 103.5)
V_DEAD, A_DEAD = (14.00, 13.76, 13.53, 13.53, 13.30), (0.0, 40.1, 78.6, 78.6, 115.6)
TWELVE_VOLT = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)


def judge(visit: Evidence) -> Judgement:
    return judge_with_causes(visit, rank="never")


def cumulative(volts: tuple[float, ...], amps: tuple[float, ...], **changes: object) -> Evidence:
    readings = cumulative_pass(amps[1:], volts[1:])
    usual: dict[str, object] = {"rating": TWELVE_VOLT, "rest": RestReading(volts[0], amps[0]), "engine_state": "idle"}
    return evidence(readings, **(usual | changes))


def lines_of(visit: Evidence) -> CircuitLines:
    lines = judge(visit).circuit_lines
    assert lines is not None
    return lines


def codes(judgement: Judgement) -> list[str]:
    return [finding.code for finding in judgement.findings]
