from django.urls import path

from stewardship.agreements import list_views, paper_views, views, wording_views
from stewardship.agreements.views import hub, screen

app_name = "agreements"

urlpatterns = [
    path("", views.AgreementList.as_view(), name="list"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/end/", views.end, name="end"),
    path("<int:pk>/sale/", views.sale, name="sale"),
    path("<int:pk>/new-owner/", views.new_owner, name="new_owner"),
    path("<int:pk>/tenant-out/", views.tenant_out, name="tenant_out"),
    path("<int:pk>/consent/", views.consent, name="consent"),
    path("<int:pk>/next/", views.next_one, name="next"),
    path("<int:pk>/as-built/", views.as_built, name="as_built"),
    path("<int:pk>/as-built/<int:party>/", views.seen, name="seen"),
    path("<int:pk>/terms/", views.terms, name="terms"),
    path("<int:pk>/ask/", views.ask, name="ask"),
    path("asked/<int:pk>/", views.asked, name="asked"),
    path("asked/<int:pk>/drop/", views.asked_drop, name="asked_drop"),
    path("renewals/", views.renewals, name="renewals"),
    path("renewals/letters/", views.renewal_letters, name="renewal_letters"),
    path("documents/<int:pk>/", views.document, name="document"),
    path("documents/<int:pk>/check/", paper_views.check, name="check"),
    path("parties/<int:pk>/sign/", views.sign, name="sign"),
    path("parties/<int:pk>/<slug:action>/", hub.party_act, name="party_act"),
    path("<int:pk>/signing/", hub.signing, name="signing"),
    path("<int:pk>/stands/", hub.let_stand, name="let_stand"),
    path("<int:pk>/sign/<int:party>/screen/", screen.sign_screen, name="sign_screen"),
    path("<int:pk>/sign/<int:party>/thanks/", screen.signed, name="signed"),
    path("by-link/", screen.link_lost, name="link_lost"),
    path("by-link/<str:secret>/", screen.by_link, name="by_link"),
    path("by-link/<str:secret>/document/", screen.link_document, name="link_document"),
    path("lists/", list_views.lists, name="lists"),
    path("lists/out/", list_views.lists_out, name="lists_out"),
    path("lists/<int:pk>/", list_views.list_file, name="list_file"),
    path("lists/<int:pk>/take/", list_views.list_take, name="list_take"),
    path("lists/<int:pk>/not-taken/", list_views.list_faults, name="list_faults"),
    path("wordings/", wording_views.wording_list, name="wordings"),
    path("wordings/<int:pk>/", wording_views.wording, name="wording"),
    path("wordings/<int:pk>/edit/", wording_views.wording_edit, name="wording_edit"),
    path("wordings/<int:pk>/use/", wording_views.wording_use, name="wording_use"),
    path("wordings/<int:pk>/review/", wording_views.wording_review, name="wording_review"),
    path("wordings/<int:pk>/drop/", wording_views.wording_drop, name="wording_drop"),
    path("wordings/<slug:instrument>/<slug:language>/blank/", paper_views.blank, name="blank"),
    path(
        "wordings/<slug:instrument>/<slug:language>/next/",
        wording_views.wording_next,
        name="wording_next",
    ),
]
