"""The photos of a check or a defect, with the form that adds one."""

from typing import Any

from django import template
from django.urls import reverse

from accounts.roles import Ability
from dashboard.views.photos import PhotoForm, photos_of
from inspections.models import Defect, Inspection

register = template.Library()


@register.inclusion_tag("dashboard/photos.html", takes_context=True)
def photos(context: template.Context, subject: Inspection | Defect) -> dict[str, Any]:
    """Show the subject's photos; the page's own context says who looks."""
    actor, organisation = context["actor"], context["organisation"]
    name = "check-photo" if isinstance(subject, Inspection) else "defect-photo"
    return {
        "organisation": organisation,
        "csrf_token": context.get("csrf_token"),
        "photos": photos_of(subject),
        "photo_form": PhotoForm(),
        "may_add_photo": actor.may(Ability.CAPTURE),
        "may_withdraw_photo": actor.may(Ability.SIGN),
        "add_photo_url": reverse(f"dashboard:{name}", args=[organisation.slug, subject.uuid]),
    }
