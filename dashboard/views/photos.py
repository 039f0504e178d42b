"""Photos beside a check or a defect: look at one, add some, withdraw one."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext_lazy as _
from django.views.generic import View

from accounts.errors import Conflict, Refused
from accounts.identity import new_id
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.access import AbilityMixin
from dashboard.typed import typed_text
from inspections.models import Defect, Inspection, Photo
from inspections.pictures import FORMATS, picture_headers
from inspections.services.photos import add_photo, withdraw_photo

ACCEPTED = ",".join(f"image/{kind.lower()}" for kind in FORMATS)


class PhotoForm(forms.Form):
    """A photo with what it shows."""

    photo = forms.FileField(label=_("Photo"), widget=forms.FileInput(attrs={"accept": ACCEPTED}))
    caption = forms.CharField(label=_("What it shows"), max_length=200, required=False)


def photos_of(subject: Inspection | Defect) -> QuerySet[Photo]:
    """Return the photos on the subject's page, oldest first, without their pictures."""
    return subject.photos.filter(withdrawn_at__isnull=True).defer("picture").select_related("added_by").order_by("pk")


class Picture(MemberRequiredMixin, View):
    """The picture itself."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Answer the picture; a withdrawn one is not shown any more."""
        rows = Photo.objects.of(self.organisation).filter(withdrawn_at__isnull=True)
        photo = get_object_or_404(rows, uuid=kwargs["photo"])
        return HttpResponse(bytes(photo.picture), headers=picture_headers(photo.uuid))


class AddPhoto(MemberRequiredMixin, AbilityMixin, View):
    """Takes a photo of a check or a defect."""

    ability = Ability.CAPTURE
    http_method_names = ["post"]
    # What the address names: "inspection" or "defect".
    subject = ""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Store the photo, and show the page it belongs to."""
        subject = self._subject()
        form = PhotoForm(request.POST, request.FILES)
        if not form.is_valid():
            messages.warning(request, " ".join(str(text) for texts in form.errors.values() for text in texts))
            return _page_of(self.organisation.slug, subject)
        caption = form.cleaned_data["caption"]
        try:
            add_photo(self.actor, subject, sent=form.cleaned_data["photo"].read(), photo_id=new_id(), caption=caption)
        except Refused as refused:
            messages.warning(request, str(refused))
        else:
            messages.success(request, _("The photo is in the book."))
        return _page_of(self.organisation.slug, subject)

    def _subject(self) -> Inspection | Defect:
        if self.subject == "inspection":
            checks = Inspection.objects.of(self.organisation).defer("evidence")
            return get_object_or_404(checks, uuid=self.kwargs["inspection"])
        return get_object_or_404(Defect.objects.of(self.organisation), uuid=self.kwargs["defect"])


class WithdrawPhoto(MemberRequiredMixin, AbilityMixin, View):
    """Takes a photo off the pages, with a reason."""

    ability = Ability.SIGN
    http_method_names = ["post"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Withdraw the photo, and show the page it belonged to."""
        rows = Photo.objects.of(self.organisation).select_related("inspection", "defect")
        photo = get_object_or_404(rows.defer("picture", "inspection__evidence"), uuid=kwargs["photo"])
        try:
            withdraw_photo(self.actor, photo, reason=typed_text(request.POST, "reason"))
        except Refused as refused:
            messages.warning(request, str(refused))
        except Conflict as conflict:
            messages.info(request, conflict.detail)
        else:
            messages.success(request, _("The photo is withdrawn; the audit trail keeps it."))
        subject = photo.inspection or photo.defect
        if subject is None:
            raise Http404
        return _page_of(self.organisation.slug, subject)


def _page_of(slug: str, subject: Inspection | Defect) -> HttpResponseBase:
    name = "result" if isinstance(subject, Inspection) else "defect"
    return redirect(f"dashboard:{name}", slug, subject.uuid)
