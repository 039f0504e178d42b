"""Addresses of photos, behind the organisation's slug."""

from django.urls import path

from dashboard.views.photos import AddPhoto, Picture, WithdrawPhoto

urlpatterns = [
    path("checks/<uuid:inspection>/photos/", AddPhoto.as_view(subject="inspection"), name="check-photo"),
    path("defects/<uuid:defect>/photos/", AddPhoto.as_view(subject="defect"), name="defect-photo"),
    path("photos/<uuid:photo>/", Picture.as_view(), name="picture"),
    path("photos/<uuid:photo>/withdraw/", WithdrawPhoto.as_view(), name="withdraw-photo"),
]
