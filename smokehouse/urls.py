"""The whole site is the logbook; its table of contents is lots/urls.py."""

from django.urls import include, path

urlpatterns = [path("", include("lots.urls"))]

handler400 = "lots.views.errors.bad_request"
handler403 = "lots.views.errors.forbidden"
handler404 = "lots.views.errors.not_found"
handler500 = "lots.views.errors.server_error"
