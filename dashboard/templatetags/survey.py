"""The limits of the mechanical survey, in words."""

from collections.abc import Mapping

from django import template
from django.utils.translation import gettext as _

from inspections.survey_items import item_word

register = template.Library()


@register.filter
def survey_limits(limits: Mapping[str, Mapping[str, float]]) -> list[str]:
    """Return a type's limits, a phrase an item.

    >>> survey_limits({"air_gap": {"lower_limit": 1.0, "upper_limit": 1.6}, "rotor": {"lower_limit": 12.0}})
    ['Air gap 1 to 1.6 mm', 'Rotor at least 12 mm']
    """
    return [f"{item_word(code)} {_phrase(ends)}" for code, ends in limits.items()]


def _phrase(ends: Mapping[str, float]) -> str:
    low, high = ends.get("lower_limit"), ends.get("upper_limit")
    values = {"low": f"{low:g}" if low is not None else "", "high": f"{high:g}" if high is not None else ""}
    if low is not None and high is not None:
        return _("%(low)s to %(high)s mm") % values
    return (_("at most %(high)s mm") if low is None else _("at least %(low)s mm")) % values
