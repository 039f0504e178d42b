"""Checks whose amps no limit applies to, and reasons that several stages share: said once."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _

from inspections.sentences import sentence

# Why a stage that was read well still has no limits to be drawn beside.
NO_LIMITS = frozenset({"electronic_drive", "tolerance_unknown", "reference_voltage_unknown", "type_not_identified"})

# What a unit whose type is not identified says about itself: its balance, and its own history.
BY_ITSELF = frozenset(
    {
        "stage_current_not_told",
        "stages_alike",
        "stages_alike_not_told",
        "stages_unlike",
        "stage_unlike_the_others",
        "no_own_history",
        "own_history_left_out",
        "stage_unlike_its_history",
        "like_its_history",
    }
)


def is_without_limits(stage: Mapping[str, Any]) -> bool:
    """Return whether no limits apply to a stage."""
    return stage["undetermined_reason"] in NO_LIMITS


def why_no_limits(stages: Iterable[Mapping[str, Any]]) -> list[str]:
    """Return why no limits apply to any of the stages, each reason once; nothing where they apply to some."""
    read = list(stages)
    if not read or not all(is_without_limits(stage) for stage in read):
        return []
    return list(dict.fromkeys(sentence(stage["undetermined_reason"], {}) for stage in read))


def told_once(coded: Iterable[Mapping[str, Any]], stages: int) -> list[dict[str, str]]:
    """Return sentences with the stages they are about; that no limits apply to any stage needs no stage named."""
    about: dict[tuple[str, str], list[int]] = {}
    for each in coded:
        about.setdefault((each["code"], each["text"]), []).extend([each["stage"]] if each["stage"] else [])
    return [
        {"about": "" if code in NO_LIMITS and len(named) == stages else _about(named), "text": text}
        for (code, text), named in about.items()
    ]


def _about(named: list[int]) -> str:
    if not named:
        return ""
    words = _("Stage %(stages)s:") if len(named) == 1 else _("Stages %(stages)s:")
    return words % {"stages": ", ".join(map(str, named))}
