"""The codes the columns may hold, with their words where a person picks one."""

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from calc.hypotheses import READINGS
from fleet.models import MAX_STAGES

VERDICTS = [
    ("pass", _("Inside limits")),
    ("conditional_pass", _("Inside, not certain")),
    ("conditional_fail", _("Outside, not certain")),
    ("fail", _("Outside limits")),
    ("undetermined", _("No verdict")),
]
VERDICT_CODES = [code for code, _label in VERDICTS]
TEMPERATURE_METHODS = ["measured", "parked", "cold_resistance", "cooling_model", "unknown"]
ENGINE_STATES = ["off", "idle", "high_idle"]
PURPOSES = ["routine", "first", "retest", "fault_finding"]
EXTRA_READING_KINDS = list(READINGS)
STAGES = range(1, MAX_STAGES + 1)
RELEASE_DECISIONS = [
    ("unrestricted", _("unrestricted")),
    ("isolated", _("retarder isolated, driver told")),
    ("route_restricted", _("route restricted")),
    ("off_the_road", _("off the road")),
]


def one_of(field: str, codes: list[str]) -> Q:
    """Hold a column to the codes it may have."""
    return Q(**{f"{field}__in": codes})
