"""Sign in, and go where one belongs."""

from django.contrib.auth.mixins import LoginRequiredMixin
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.generic import View

from accounts.models import Member, User


class SignIn(LoginView):
    """The sign-in page."""

    template_name = "dashboard/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    """Ends the session; takes a form, so that no address can sign anybody out."""

    next_page = "dashboard:sign-in"


class Home(LoginRequiredMixin, View):
    """The address without anything behind it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Go to the one organisation, or offer the choice."""
        user = request.user
        if not isinstance(user, User):
            return redirect("dashboard:sign-in")
        members = Member.objects.filter(user=user, organisation__closed_at__isnull=True).select_related("organisation")
        if len(members) == 1:
            return redirect("dashboard:today", organisation=members[0].organisation.slug)
        return render(request, "dashboard/choose.html", {"members": members})
