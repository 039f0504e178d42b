"""Addresses of the pages about one check, behind the organisation's slug."""

from django.urls import path

from dashboard.views.check import CheckList, StartCheck
from dashboard.views.check_apart import Battery, Control, Mechanical
from dashboard.views.check_before import AllOff, CanItBeClear, Conditions
from dashboard.views.check_readings import Reading, ReadingLook, Stop
from dashboard.views.check_store import LookOver, ThrowAway
from dashboard.views.find_part import FindPart
from dashboard.views.first_run import FirstCheck
from dashboard.views.own_book import CloseDemo, OwnBook
from dashboard.views.result import Result, SignCheck
from dashboard.views.result_replace import NotRight, Replace
from dashboard.views.working import Working

DRAFT = "check/<uuid:draft>/"
CHECK = "checks/<uuid:inspection>/"

urlpatterns = [
    path("check/", CheckList.as_view(), name="check"),
    path("check/start/<uuid:installation>/", StartCheck.as_view(), name="check-start"),
    path(f"{DRAFT}conditions/", Conditions.as_view(), name="check-conditions"),
    path(f"{DRAFT}clear/", CanItBeClear.as_view(), name="check-clear"),
    path(f"{DRAFT}all-off/", AllOff.as_view(), name="check-all-off"),
    path(f"{DRAFT}reading/<slug:energised>/", Reading.as_view(), name="check-reading"),
    path(f"{DRAFT}reading/<slug:energised>/look/", ReadingLook.as_view(), name="check-look"),
    path(f"{DRAFT}reading/<slug:energised>/stop/", Stop.as_view(), name="check-stop"),
    path(f"{DRAFT}battery/", Battery.as_view(), name="check-battery"),
    path(f"{DRAFT}control/", Control.as_view(), name="check-control"),
    path(f"{DRAFT}mechanical/", Mechanical.as_view(), name="check-mechanical"),
    path(f"{DRAFT}look-over/", LookOver.as_view(), name="check-look-over"),
    path(f"{DRAFT}throw-away/", ThrowAway.as_view(), name="check-throw-away"),
    path(CHECK, Result.as_view(), name="result"),
    path(f"{CHECK}find-the-part/", FindPart.as_view(), name="find-part"),
    path(f"{CHECK}sign/", SignCheck.as_view(), name="sign"),
    path(f"{CHECK}not-right/", NotRight.as_view(), name="not-right"),
    path(f"{CHECK}replace/<slug:why>/", Replace.as_view(), name="replace"),
    path("own-book/", OwnBook.as_view(), name="own-book"),
    path("close-demo/", CloseDemo.as_view(), name="close-demo"),
    path("first-check/", FirstCheck.as_view(), name="first-check"),
    path(f"{CHECK}working/", Working.as_view(), name="working"),
]
