"""All addresses. Apps own their own; pages that join apps live in front."""

from django.contrib import admin
from django.urls import include, path, re_path

from people.views.account import closed, own_address

urlpatterns = [
    path("sites/", include("sites.urls")),
    path("people/", include("people.urls")),
    path("rain/", include("stewardship.rain.urls")),
    path("agreements/", include("stewardship.agreements.urls")),
    path("care/", include("stewardship.care.urls")),
    path("letters/", include("stewardship.outbox.urls")),
    path("reports/", include("stewardship.reports.urls")),
    path("api/", include("stewardship.api.urls")),
    # addresses to sign in with are handed out, not added: the package's own pages for that are closed
    path("account/email/", own_address, name="account_email"),
    re_path(r"^account/confirm-email/", closed),
    path("account/", include("allauth.urls")),
    path("language/", include("django.conf.urls.i18n")),
    path("repair/", admin.site.urls),
    path("", include("stewardship.front.urls")),
]
