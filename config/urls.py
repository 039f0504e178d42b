"""Every address of the service."""

from django.urls import include, path

from config.health import health

urlpatterns = [
    path("healthz", health, name="health"),
    path("api/v1/", include("api.urls")),
    path("", include("dashboard.urls")),
]

handler400 = "api.problems.bad_request"
handler403 = "api.problems.permission_denied"
handler404 = "api.problems.page_not_found"
handler500 = "api.problems.server_error"
