"""Addresses of the pages; behind an organisation's slug lies only what its members see."""

from django.urls import include, path

from dashboard.views.defect import CabNotice, DefectPage
from dashboard.views.due import Due
from dashboard.views.meter import MeterPage
from dashboard.views.more import Meters, More, Night, People, Ratings, Seen, Told
from dashboard.views.record import Checks, Declines, Defects
from dashboard.views.sign_in import Home, SignIn, SignOut
from dashboard.views.today import Today
from dashboard.views.units import Units
from dashboard.views.vehicle import VehiclePage
from dashboard.views.vehicles import Find, Vehicles

app_name = "dashboard"

urlpatterns = [
    path("", Home.as_view(), name="home"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", SignOut.as_view(), name="sign-out"),
    path("<slug:organisation>/today/", Today.as_view(), name="today"),
    path("<slug:organisation>/units/", Units.as_view(), name="units"),
    path("<slug:organisation>/find/", Find.as_view(), name="find"),
    path("<slug:organisation>/vehicles/", Vehicles.as_view(), name="vehicles"),
    path("<slug:organisation>/vehicles/<uuid:vehicle>/", VehiclePage.as_view(), name="vehicle"),
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
    path("<slug:organisation>/meters/<uuid:meter>/", MeterPage.as_view(), name="meter"),
    path("<slug:organisation>/ratings/", Ratings.as_view(), name="ratings"),
    path("<slug:organisation>/people/", People.as_view(), name="people"),
    path("<slug:organisation>/night/", Night.as_view(), name="night"),
    path("<slug:organisation>/", include("dashboard.check_urls")),
]
