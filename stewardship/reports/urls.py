from django.urls import path

from stewardship.reports import views

app_name = "reports"

urlpatterns = [
    path("", views.report_list, name="list"),
    path("new/", views.new, name="new"),
    path("<int:pk>/", views.detail, name="detail"),
    path("<int:pk>/report.pdf", views.file, name="file"),
    path("<int:pk>/rows.csv", views.rows, name="rows"),
    path("compliance/", views.Compliance.as_view(), name="compliance"),
    path("compliance/<slug:code>/", views.proof, name="proof"),
]
