from django.urls import path

from stewardship.rain.views import files, gauges, readings, storms

app_name = "rain"

urlpatterns = [
    path("storms/", storms.StormList.as_view(), name="storms"),
    path("gauges/", gauges.GaugeList.as_view(), name="gauges"),
    path("gauges/<slug:code>/", gauges.gauge, name="gauge"),
    path("import/", files.import_page, name="import"),
    path("batches/<int:pk>/", files.batch, name="batch"),
    path("readings/new/", readings.reading_new, name="reading_new"),
]
