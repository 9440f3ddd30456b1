from django.urls import path

from stewardship.agreements import list_views, views, wording_views

app_name = "agreements"

urlpatterns = [
    path("", views.AgreementList.as_view(), name="list"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/end/", views.end, name="end"),
    path("<int:pk>/sale/", views.sale, name="sale"),
    path("documents/<int:pk>/", views.document, name="document"),
    path("parties/<int:pk>/sign/", views.sign, name="sign"),
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
    path(
        "wordings/<slug:instrument>/<slug:language>/next/",
        wording_views.wording_next,
        name="wording_next",
    ),
]
