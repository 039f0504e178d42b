"""Every address of the service."""

from django.urls import include, path

from config.health import health

urlpatterns = [
    path("healthz", health, name="health"),
    path("api/v1/", include("api.urls")),
    path("", include("dashboard.urls")),
]

handler400 = "config.errors.bad_request"
handler403 = "config.errors.permission_denied"
handler404 = "config.errors.page_not_found"
handler500 = "config.errors.server_error"
