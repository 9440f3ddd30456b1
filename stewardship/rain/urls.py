from django.urls import path

from stewardship.rain.views import (
    doors,
    files,
    frequency,
    gauge_changes,
    gauge_page,
    gauges,
    readings,
    rules,
    storms,
)

app_name = "rain"

urlpatterns = [
    path("storms/", storms.StormList.as_view(), name="storms"),
    path("gauges/", gauges.GaugeList.as_view(), name="gauges"),
    path("gauges/new/", gauge_changes.new, name="gauge_new"),
    path("gauges/<slug:code>/correct/", gauge_changes.correct, name="gauge_edit"),
    path("gauges/<slug:code>/move/", gauge_changes.move, name="gauge_move"),
    path("gauges/<slug:code>/places/<int:pk>/", gauge_changes.place, name="gauge_place"),
    path("gauges/<slug:code>/end/", gauge_changes.end, name="gauge_end"),
    path("gauges/<slug:code>/readers/", gauge_changes.readers, name="gauge_readers"),
    path("gauges/<slug:code>/out/", gauge_changes.outage_new, name="outage_new"),
    path("gauges/<slug:code>/out/<int:pk>/", gauge_changes.outage, name="outage"),
    path("gauges/<slug:code>/doors/", doors.doors, name="doors"),
    path("gauges/<slug:code>/doors/token/", doors.token_new, name="token_new"),
    path(
        "gauges/<slug:code>/doors/token/<int:pk>/withdraw/",
        doors.token_withdraw,
        name="token_withdraw",
    ),
    path("gauges/<slug:code>/doors/link/", doors.link_new, name="link_new"),
    path(
        "gauges/<slug:code>/doors/link/<int:pk>/withdraw/",
        doors.link_withdraw,
        name="link_withdraw",
    ),
    path("how-unusual/", frequency.frequencies, name="frequencies"),
    path("how-unusual/keep/", frequency.frequency_keep, name="frequency_keep"),
    path("how-unusual/<int:pk>/", frequency.frequency, name="frequency"),
    path("how-unusual/<int:pk>/withdraw/", frequency.frequency_withdraw, name="frequency_withdraw"),
    path("rules/", rules.rules, name="rules"),
    path("rules/<int:pk>/take-out/", rules.take_out, name="rule_out"),
    path("storms/again/", rules.find_again, name="find_again"),
    path("gauges/<slug:code>/odd/<int:pk>/", gauge_page.suspicion, name="suspicion"),
    path("gauges/<slug:code>/", gauge_page.gauge, name="gauge"),
    path("import/", files.import_page, name="import"),
    path("batches/<int:pk>/", files.batch, name="batch"),
    path("readings/new/", readings.reading_new, name="reading_new"),
    path("r/<str:secret>/", readings.reading_by_link, name="reading_by_link"),
]
