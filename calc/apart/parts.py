"""Every part that is judged apart from the amps, and what each found."""

from collections.abc import Iterable

from calc.apart.charging import charging
from calc.apart.lines import circuit_lines, resistance_parts
from calc.apart.supply import supply
from calc.apart.surveys import control_check, mechanical_survey
from calc.evidence import Evidence
from calc.evidence_apart import ApartEvidence, Checked
from calc.judgement import CircuitLines, Finding
from calc.rest import FLOWING, SUBTRACTED, WITHIN_COUNTS

PARTS = (
    "supply",
    "charging",
    "rest_current",
    "upstream_resistance",
    "shared_ground",
    "outputs",
    "lamps",
    "control",
    "mechanical",
)
NOTHING_APART = ApartEvidence()
_REST: dict[int, Checked] = {WITHIN_COUNTS: "good", SUBTRACTED: "good", FLOWING: "bad"}
Part = tuple[Checked, tuple[Finding, ...]]
Apart = tuple[dict[str, Checked], list[Finding], CircuitLines | None]


def judged_apart(evidence: Evidence, seen: Iterable[Finding], rest_meaning: int, subtracted_a: float) -> Apart:
    """Return the state of every part, the findings of those judged here, and the two lines of a cumulative pass.

    Parameters
    ----------
    evidence : Evidence
        One visit.
    seen : iterable of Finding
        What the readings themselves showed; outputs and lamps are judged by it.
    rest_meaning : int
        What the current with everything off means.
    subtracted_a : float
        What was subtracted from every reading. [A]
    """
    given = evidence.apart or NOTHING_APART
    lines = circuit_lines(evidence, subtracted_a)
    codes = {finding.code for finding in seen}
    upstream, shared = resistance_parts(lines, given.limits)
    parts: dict[str, Part] = {
        "supply": supply(evidence, given.limits),
        "charging": charging(evidence, given),
        "rest_current": (_REST.get(rest_meaning, "not_checked"), ()),
        "upstream_resistance": upstream,
        "shared_ground": shared,
        "outputs": (_truth(evidence, codes, "output_mismatch", "outputs_live"), ()),
        "lamps": (_lamps(evidence, codes), ()),
        "control": control_check(given),
        "mechanical": mechanical_survey(given),
    }
    found = [finding for _, findings in parts.values() for finding in findings]
    return {name: state for name, (state, _) in parts.items()}, found, lines


def _lamps(evidence: Evidence, codes: set[str]) -> Checked:
    if evidence.relay_box.lamps not in (1, evidence.rating.stages):
        return "not_checked"
    return _truth(evidence, codes, "lamp_mismatch", "lamps_lit")


def _truth(evidence: Evidence, codes: set[str], mismatch: str, seen: str) -> Checked:
    """Return bad for any row that differs, good where every input was looked at, else not checked."""
    if mismatch in codes:
        return "bad"
    looked_at = {reading.stage for reading in evidence.stage_readings if getattr(reading, seen) is not None}
    return "good" if len(looked_at) == evidence.rating.stages else "not_checked"
