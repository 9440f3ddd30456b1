from django.urls import path

from stewardship.agreements import views, wording_views

app_name = "agreements"

urlpatterns = [
    path("", views.AgreementList.as_view(), name="list"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/end/", views.end, name="end"),
    path("<int:pk>/sale/", views.sale, name="sale"),
    path("documents/<int:pk>/", views.document, name="document"),
    path("parties/<int:pk>/sign/", views.sign, name="sign"),
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
