"""Addresses of the pages; behind an organisation's slug lies only what its members see."""

from django.urls import include, path

from dashboard.views.book import Book
from dashboard.views.calibration import CalibrationPage
from dashboard.views.comparison import CompareMeters
from dashboard.views.defect import CabNotice, DefectPage
from dashboard.views.driver import DriverLabel, DriverReport
from dashboard.views.due import Due
from dashboard.views.invitation import AnswerInvitation
from dashboard.views.meter import MeterAccuracy, MeterPage
from dashboard.views.more import Meters, More, Night, Ratings, Seen, Told
from dashboard.views.new_meter import NewMeter
from dashboard.views.people import AskTwoStep, Invite, People, RevokeInvitation
from dashboard.views.person import Person
from dashboard.views.record import Checks, Declines, Defects
from dashboard.views.rejudgings import RejudgingPage, Rejudgings
from dashboard.views.removed import Removed, ReplaceName
from dashboard.views.rules import Lists, Rules
from dashboard.views.settle_due import SettleDue
from dashboard.views.sign_in import Home, SignIn, SignInCode, SignOut
from dashboard.views.survey_limits import SurveyLimits
from dashboard.views.to_sign import Countersign, ToSign
from dashboard.views.today import Today
from dashboard.views.tokens import MakeToken, RevokeToken, Tokens
from dashboard.views.unit_type import UnitType
from dashboard.views.units import Units
from dashboard.views.vehicle import VehiclePage
from dashboard.views.vehicles import Find, Vehicles

app_name = "dashboard"

urlpatterns = [
    path("", Home.as_view(), name="home"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-in/code/", SignInCode.as_view(), name="sign-in-code"),
    path("sign-out/", SignOut.as_view(), name="sign-out"),
    path("invitation/<slug:secret>/", AnswerInvitation.as_view(), name="invitation"),
    path("account/", include("dashboard.account_urls")),
    path("<slug:organisation>/today/", Today.as_view(), name="today"),
    path("<slug:organisation>/units/", Units.as_view(), name="units"),
    path("<slug:organisation>/units/<uuid:installation>/type/", UnitType.as_view(), name="unit-type"),
    path("<slug:organisation>/find/", Find.as_view(), name="find"),
    path("<slug:organisation>/vehicles/", Vehicles.as_view(), name="vehicles"),
    path("<slug:organisation>/vehicles/<uuid:vehicle>/", VehiclePage.as_view(), name="vehicle"),
    path("<slug:organisation>/vehicles/<uuid:vehicle>/label/", DriverLabel.as_view(), name="driver-label"),
    path("driver/<str:token>/", DriverReport.as_view(), name="driver-report"),
    path("<slug:organisation>/checks/", Checks.as_view(), name="checks"),
    path("<slug:organisation>/defects/", Defects.as_view(), name="defects"),
    path("<slug:organisation>/defects/<uuid:defect>/", DefectPage.as_view(), name="defect"),
    path("<slug:organisation>/defects/<uuid:defect>/notice/", CabNotice.as_view(), name="cab-notice"),
    path("<slug:organisation>/due/", Due.as_view(), name="due"),
    path("<slug:organisation>/losing-current/", Declines.as_view(), name="declines"),
    path("<slug:organisation>/told/", Told.as_view(), name="told"),
    path("<slug:organisation>/told/<uuid:reminder>/seen/", Seen.as_view(), name="told-seen"),
    path("<slug:organisation>/more/", More.as_view(), name="more"),
    path("<slug:organisation>/meters/", Meters.as_view(), name="meters"),
    path("<slug:organisation>/meters/add/", NewMeter.as_view(), name="new-meter"),
    path("<slug:organisation>/meters/<uuid:meter>/", MeterPage.as_view(), name="meter"),
    path("<slug:organisation>/meters/<uuid:meter>/accuracy/", MeterAccuracy.as_view(), name="meter-accuracy"),
    path("<slug:organisation>/meters/<uuid:meter>/compare/", CompareMeters.as_view(), name="compare-meters"),
    path(
        "<slug:organisation>/meters/<uuid:meter>/calibrations/<uuid:calibration>/",
        CalibrationPage.as_view(),
        name="calibration",
    ),
    path("<slug:organisation>/ratings/<uuid:type>/survey-limits/", SurveyLimits.as_view(), name="survey-limits"),
    path("<slug:organisation>/rules/", Rules.as_view(), name="rules"),
    path("<slug:organisation>/rules/lists/", Lists.as_view(), name="rules-lists"),
    path("<slug:organisation>/judge-anew/", Rejudgings.as_view(), name="rejudgings"),
    path("<slug:organisation>/judge-anew/<uuid:rejudging>/", RejudgingPage.as_view(), name="rejudging"),
    path("<slug:organisation>/due/<uuid:due_date>/settle/", SettleDue.as_view(), name="settle-due"),
    path("<slug:organisation>/ratings/", Ratings.as_view(), name="ratings"),
    path("<slug:organisation>/people/", People.as_view(), name="people"),
    path("<slug:organisation>/people/invite/", Invite.as_view(), name="invite"),
    path("<slug:organisation>/people/two-step/", AskTwoStep.as_view(), name="ask-two-step"),
    path("<slug:organisation>/people/removed/", Removed.as_view(), name="removed"),
    path("<slug:organisation>/people/<uuid:member>/name/", ReplaceName.as_view(), name="replace-name"),
    path("<slug:organisation>/book/", Book.as_view(), name="book"),
    path("<slug:organisation>/people/<uuid:member>/", Person.as_view(), name="person"),
    path(
        "<slug:organisation>/invitations/<uuid:invitation>/revoke/",
        RevokeInvitation.as_view(),
        name="revoke-invitation",
    ),
    path("<slug:organisation>/tokens/", Tokens.as_view(), name="tokens"),
    path("<slug:organisation>/tokens/make/", MakeToken.as_view(), name="make-token"),
    path("<slug:organisation>/tokens/<uuid:token>/revoke/", RevokeToken.as_view(), name="revoke-token"),
    path("<slug:organisation>/to-sign/", ToSign.as_view(), name="to-sign"),
    path("<slug:organisation>/to-sign/<uuid:inspection>/", Countersign.as_view(), name="countersign"),
    path("<slug:organisation>/night/", Night.as_view(), name="night"),
    path("<slug:organisation>/", include("dashboard.check_urls")),
    path("<slug:organisation>/", include("dashboard.record_urls")),
    path("<slug:organisation>/", include("dashboard.photo_urls")),
]
