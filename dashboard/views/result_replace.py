"""Not right? Five ways on; three of them replace the check by another, and both are kept."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from accounts.models import Member
from accounts.roles import Ability, Role
from dashboard.checks.access import AbilityMixin, StoredCheckMixin
from dashboard.checks.drafts import Drafts, draft_of
from dashboard.checks.results import judgements_of, sources_of

FIRST_STEPS = {"mistyped": "look-over", "coil-was-hot": "conditions", "wrong-meter": "conditions"}


class NotRight(StoredCheckMixin, TemplateView):
    """The five ways."""

    template_name = "dashboard/result/not_right.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the rating the check was judged by, and who can correct it."""
        check = self.stored_check(self.kwargs["inspection"])
        rating = judgements_of(check)[-1].rating_revision
        keepers = Member.objects.of(self.organisation).filter(
            role__in=[Role.MANAGER, Role.ADMINISTRATOR], user__is_active=True
        )
        return super().get_context_data(**kwargs) | {
            "check": check,
            "rating": rating,
            "sources": sources_of(rating),
            "keepers": keepers.select_related("user"),
            "may_capture": self.actor.may(Ability.CAPTURE),
        }


class Replace(StoredCheckMixin, AbilityMixin, TemplateView):
    """Begins the check that replaces this one, with everything of it filled in."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Go to the step where the mistake is."""
        check = self.stored_check(kwargs["inspection"])
        step = FIRST_STEPS.get(kwargs["why"])
        if step is None or check.superseded_by is not None:
            raise Http404
        reasons = {
            "mistyped": "",
            "coil-was-hot": _("The coil was hot; its temperature is added."),
            "wrong-meter": _("It was read with another test meter."),
        }
        draft = draft_of(check) | {"supersede_reason": reasons[kwargs["why"]]}
        Drafts(request.session, self.organisation.pk).keep(draft)
        return redirect(f"dashboard:check-{step}", self.organisation.slug, draft["id"])
