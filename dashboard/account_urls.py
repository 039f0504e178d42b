"""Addresses of one's own account; no organisation stands in them."""

from django.urls import path

from dashboard.views.account import Account, EndOtherSessions, EndSession, Password, Sessions
from dashboard.views.account_two_step import RecoveryCodes, TurnOff, TwoStep

urlpatterns = [
    path("", Account.as_view(), name="account"),
    path("password/", Password.as_view(), name="password"),
    path("sessions/", Sessions.as_view(), name="sessions"),
    path("sessions/end-others/", EndOtherSessions.as_view(), name="end-other-sessions"),
    path("sessions/<slug:reference>/end/", EndSession.as_view(), name="end-session"),
    path("second-step/", TwoStep.as_view(), name="two-step"),
    path("second-step/codes/", RecoveryCodes.as_view(), name="recovery-codes"),
    path("second-step/off/", TurnOff.as_view(), name="two-step-off"),
]
