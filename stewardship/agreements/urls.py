from django.urls import path

from stewardship.agreements import views

app_name = "agreements"

urlpatterns = [
    path("", views.AgreementList.as_view(), name="list"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/end/", views.end, name="end"),
    path("<int:pk>/sale/", views.sale, name="sale"),
    path("documents/<int:pk>/", views.document, name="document"),
    path("parties/<int:pk>/sign/", views.sign, name="sign"),
]
