"""The service's own addresses with the two peers beside them, for the bench alone."""

from django.urls import include, path

from inspections.bench.post_peers import urlpatterns as peers

urlpatterns = [*peers, path("", include("config.urls"))]
