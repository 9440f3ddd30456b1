from django.urls import path

from stewardship.rain import views

app_name = "rain"

urlpatterns = [
    path("storms/", views.StormList.as_view(), name="storms"),
    path("gauges/", views.GaugeList.as_view(), name="gauges"),
    path("gauges/<slug:code>/", views.gauge, name="gauge"),
    path("import/", views.import_page, name="import"),
    path("batches/<int:pk>/", views.batch, name="batch"),
    path("readings/new/", views.reading_new, name="reading_new"),
]
