"""The cautions, wherever people measure or repair."""

from typing import Any

from django import template

from inspections.cautions import KEPT_IN_MIND, MADE_SAFE_WORDS, PUT_BACK

register = template.Library()


@register.inclusion_tag("dashboard/cautions.html")
def cautions() -> dict[str, Any]:
    """Draw what is made safe before, kept in mind meanwhile, and put back afterwards."""
    return {
        "made_safe": MADE_SAFE_WORDS,
        "kept_in_mind": KEPT_IN_MIND,
        "put_back": [words for _code, words in PUT_BACK],
    }
