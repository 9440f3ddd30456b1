"""Gauges are added, corrected, moved, ended; they are out and back; each change is told, and none touches a past storm unasked."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation

from sites.models import Site
from stewardship.common.errors import Refused
from stewardship.rain import services
from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind
from stewardship.rain.models import Gauge, GaugePlace, Reading, SiteRain, Storm
from tests import factory
from tests.rain.test_storms_found import at, rain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]

NEW = {
    "code": "SHED",
    "name": "Tool shed",
    "kind": GaugeKind.TIPPING,
    "observation_hour": "",
    "unit": "in",
    "resolution": "0.01",
    "reach": "3",
    "lists_dry": "yes",
    "started_on": "2026-07-01",
    "lat": str(factory.LAT),
    "lon": str(factory.LON),
    "note": "on the roof",
    "reader": "",
}


def errors(response) -> dict[str, str]:
    assert response.status_code == 200
    form = response.context["form"]
    return {name: " ".join(map(str, said)) for name, said in form.errors.items()}


def post(browser, name: str, /, *args, **data):
    return browser.post(reverse(f"rain:{name}", args=args), data)


# -- a new gauge -----------------------------------------------------------------------------------------------
def test_a_new_gauge_has_a_place_a_first_event_and_takes_readings(coordinator, cast):
    response = post(coordinator, "gauge_new", **NEW)
    gauge = Gauge.objects.get(code="SHED")
    assert response.url == reverse("rain:gauge", args=["SHED"])
    assert (gauge.resolution_um, gauge.reach_m, gauge.lists_dry) == (254, 4828, True)  # 3 mi
    place = gauge.place(on=factory.TODAY)
    assert (place.since, place.note) == (date(2026, 7, 1), "on the roof")
    event = gauge.events.get()
    assert (event.became, event.by) == ("made", cast.coordinator)
    assert event.why == "Stands at 34.52100, -106.24400 since Wed 1 Jul"
    rain(gauge, at("15:00"), 0.3)
    assert Storm.objects.standing().get().greatest_um == factory.um(0.3)


def test_a_daily_gauge_has_an_hour_and_a_reader(coordinator, cast):
    said = errors(post(coordinator, "gauge_new", **NEW | {"kind": "daily"}))
    assert said == {"observation_hour": "Say at which hour it is read; 7 is usual."}
    said = errors(post(coordinator, "gauge_new", **NEW | {"observation_hour": "7"}))
    assert said == {
        "observation_hour": "Only a gauge that is read once a day has an hour. Leave it empty."
    }
    reader = cast.reader.person
    facts = {"kind": "daily", "observation_hour": "7", "reader": str(reader.pk)}
    assert post(coordinator, "gauge_new", **NEW | facts).status_code == 302
    assert list(Gauge.objects.get(code="SHED").readers.all()) == [reader]


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        (
            {"lon": "106.244"},
            "lon",
            "That is 7,224.6 mi from your nearest site. Did you leave out the minus sign?",
        ),
        (
            {"lat": "-106.244", "lon": "34.521"},
            "lat",
            "A latitude lies between -90 and 90. Are the two the wrong way round?",
        ),
        ({"lat": "-34.521"}, "lat", "Is the minus sign right?"),
        ({"lat": "33.1", "lon": "104.9"}, "lon", "Did you leave out the minus sign?"),
        ({"lat": "134.5"}, "lat", "A latitude lies between -90 and 90."),
        ({"lat": "40.1", "lon": "-3.7"}, "lat", "Look at the numbers again."),
        ({"lon": "-206.2"}, "lon", "A longitude lies between -180 and 180."),
        ({"lat": "34,5"}, "lat", "Enter a number, e.g. 2.5."),
    ],
)
def test_the_usual_faults_in_coordinates_are_asked_about(coordinator, cast, typed, field, sentence):
    response = post(coordinator, "gauge_new", **NEW | typed)
    said = errors(response)
    assert list(said) == [field]
    assert sentence in said[field]
    assert not Gauge.objects.exists()
    for name, value in typed.items():  # nothing that was typed is lost
        assert response.context["form"][name].value() == value


def test_coordinates_of_a_place_near_the_equator_are_asked_about_when_swapped(coordinator, cast):
    Site.objects.update(lat=8.5, lon=47.2)
    said = errors(post(coordinator, "gauge_new", **NEW | {"lat": "47.2", "lon": "8.5"}))
    assert said["lat"].endswith("Are latitude and longitude the wrong way round?")


def test_a_far_place_may_be_right_when_the_person_says_so(coordinator, cast):
    far = NEW | {"lat": "40.1", "lon": "-3.7"}
    response = post(coordinator, "gauge_new", **far)
    assert b"The place is right, though it is far from every site" in response.content
    assert post(coordinator, "gauge_new", **far, place_is_right="on").status_code == 302


def test_a_code_is_taken_once_whatever_its_case_and_never_a_pages_name(coordinator, cast):
    factory.make_gauge("Shed")
    assert errors(post(coordinator, "gauge_new", **NEW)) == {
        "code": "There is a gauge SHED already."
    }
    assert (
        "name of a page" in errors(post(coordinator, "gauge_new", **NEW | {"code": "New"}))["code"]
    )
    assert (
        "letters, digits" in errors(post(coordinator, "gauge_new", **NEW | {"code": "a b"}))["code"]
    )


# -- corrected -------------------------------------------------------------------------------------------------
def facts_of(coordinator, gauge) -> dict:
    form = coordinator.get(reverse("rain:gauge_edit", args=[gauge.code])).context["form"]
    return {name: form[name].value() for name in form.fields if form[name].value() is not None}


def test_what_readings_mean_stays_once_there_are_readings(coordinator, cast):
    gauge = factory.make_gauge("G1")
    assert "kind" in facts_of(coordinator, gauge)
    rain(gauge, at("15:00"), 0.3)
    assert not {"kind", "observation_hour"} & set(facts_of(coordinator, gauge))
    with pytest.raises(Refused, match="has readings already"):
        services.update_gauge(gauge=gauge, by=None, kind=GaugeKind.TIPPING)


def test_a_fact_left_as_it_is_shown_stays_as_it_is_stored(coordinator, cast):
    gauge = factory.make_gauge("G1", resolution_um=200, reach_m=777, unit="mm")  # 0.2 mm a tip
    post(coordinator, "gauge_edit", "G1", **facts_of(coordinator, gauge) | {"name": "Roof"})
    gauge.refresh_from_db()
    assert (gauge.name, gauge.resolution_um, gauge.reach_m) == ("Roof", 200, 777)
    assert gauge.events.get().why == "name: Gauge G1 → Roof"


def test_a_corrected_reach_leaves_past_storms_and_offers_to_find_them_again(coordinator, cast):
    gauge = factory.make_gauge("G1")
    rain(gauge, at("15:00"), 0.3)
    before = list(SiteRain.objects.values_list("depth_um", "sureness"))
    response = post(
        coordinator, "gauge_edit", "G1", **facts_of(coordinator, gauge) | {"reach": "0.1"}
    )
    assert response.url.startswith(reverse("rain:find_again"))
    assert list(SiteRain.objects.values_list("depth_um", "sureness")) == before
    offered = coordinator.get(response.url)
    assert offered.context["form"]["why"].value() == "G1 was corrected."
    assert b"Leave past storms as they are" in offered.content
    said = coordinator.post(
        reverse("rain:find_again"),
        {"since": "2026-07-01", "until": "2026-07-15", "why": "G1 was corrected."},
        follow=True,
    ).content.decode()
    assert "Done: 0 storms changed, rain at sites changed in 2 places." in said
    assert set(SiteRain.objects.values_list("depth_um", "sureness")) == {(None, "unknown")}


def test_the_first_day_cannot_come_after_the_first_reading(coordinator, cast):
    gauge = factory.make_gauge("G1")
    rain(gauge, at("15:00", date(2026, 7, 2)), 0.3)
    typed = facts_of(coordinator, gauge) | {"started_on": "2026-07-03"}
    said = errors(post(coordinator, "gauge_edit", "G1", **typed))
    assert said == {"started_on": "It has readings since Thu 2 Jul; it stood there then."}
    typed |= {"started_on": "2026-07-02"}
    assert post(coordinator, "gauge_edit", "G1", **typed).status_code == 302
    assert gauge.places.get().since == date(2026, 7, 2)


# -- moved -----------------------------------------------------------------------------------------------------
def test_a_moved_gauge_speaks_from_its_new_place_and_keeps_what_was(coordinator, cast):
    gauge = factory.make_gauge("G1")
    rain(gauge, at("15:00", date(2026, 7, 1)), 0.5)
    old = SiteRain.objects.get(site=cast.site).sources
    move = {"since": "2026-07-10", "lat": str(factory.LAT + 0.01), "lon": str(factory.LON)}
    assert post(coordinator, "gauge_move", "G1", **move, note="to the school").status_code == 302
    rain(gauge, at("15:00", date(2026, 7, 12)), 0.3)
    services.find_again(
        start_s=factory.seconds(at("00:00", date(2026, 6, 1))),
        end_s=factory.seconds(at("00:00", date(2026, 7, 15))),
        why="G1 was moved.",
        by=cast.coordinator,
    )
    by_day = {
        row.storm.start_at.day: row.sources
        for row in SiteRain.objects.filter(site=cast.site).select_related("storm")
    }
    assert by_day[1] == old
    assert by_day[12][0]["distance_m"] > old[0]["distance_m"]
    assert (
        gauge.events.get().why == "Stands at 34.53100, -106.24400 since Fri 10 Jul: to the school"
    )
    twice = post(coordinator, "gauge_move", "G1", **move, note="")
    assert errors(twice) == {"since": "It was moved on that day already; correct that place."}


@pytest.mark.parametrize(
    ("since", "sentence"),
    [
        ("2026-07-16", "still to come"),
        ("2023-01-01", "It stands since Sun 1 Jan 2023."),
        ("2022-12-31", "correct the place"),
    ],
)
def test_a_move_on_an_impossible_day_is_refused_in_words(coordinator, cast, since, sentence):
    factory.make_gauge("G1")
    place = {"lat": str(factory.LAT), "lon": str(factory.LON), "note": ""}
    assert sentence in errors(post(coordinator, "gauge_move", "G1", **place, since=since))["since"]
    assert GaugePlace.objects.count() == 1


def test_a_place_that_was_written_down_wrong_is_corrected_and_told(coordinator, cast):
    gauge = factory.make_gauge("G1")
    place = gauge.places.get()
    typed = {"lat": "34.53", "lon": str(factory.LON), "note": "survey"}
    assert post(coordinator, "gauge_place", "G1", place.pk, **typed).status_code == 302
    assert gauge.places.get().lat == 34.53
    assert gauge.events.get().why == (
        "Since Sun 1 Jan 2023: not 34.52500, -106.24400 but 34.53000, -106.24400: survey"
    )
    other = factory.make_gauge("G2").places.get()
    assert post(coordinator, "gauge_place", "G1", other.pk, **typed).status_code == 404


def test_the_list_of_gauges_is_exported_with_the_last_place_of_each(coordinator, cast):
    gauge = factory.make_gauge("G1")
    services.move_gauge(gauge=gauge, since=date(2026, 7, 1), lat=34.6, lon=-106.3, note="", by=None)
    said = coordinator.get(reverse("rain:gauges"), {"_export": "csv"}).getvalue().decode()
    assert "34.6,-106.3" in said


# -- ended -----------------------------------------------------------------------------------------------------
def test_a_gauge_ends_after_its_last_reading_and_takes_none_of_later_days(coordinator, cast):
    gauge = factory.make_gauge("G1")
    rain(gauge, at("15:00", date(2026, 7, 12)), 0.3)
    said = errors(post(coordinator, "gauge_end", "G1", on="2026-07-11", why=""))
    assert said == {"on": "It has readings until Sun 12 Jul. End it then, or later."}
    post(coordinator, "gauge_end", "G1", on="2026-07-12", why="The roof came down")
    gauge.refresh_from_db()
    assert gauge.ended_on == date(2026, 7, 12)
    late = (
        factory.seconds(at("00:00", date(2026, 7, 13))),
        factory.seconds(at("01:00", date(2026, 7, 13))),
    )
    row = (*late, ReadingKind.MEASURED, 254, "0.01")
    with pytest.raises(Refused, match=r"stands there no more; its last day was Sun 12 Jul\."):
        services.add_readings(gauge=gauge, rows=[row], source=BatchSource.TYPED)
    last = (late[0] - 3600, late[0], ReadingKind.MEASURED, 254, "0.01")
    services.add_readings(gauge=gauge, rows=[last], source=BatchSource.TYPED)
    post(coordinator, "gauge_end", "G1", why="A new roof")
    gauge.refresh_from_db()
    assert gauge.ended_on is None
    services.add_readings(gauge=gauge, rows=[row], source=BatchSource.TYPED)
    assert [event.why for event in gauge.events.all()] == [
        "Last day Sun 12 Jul: The roof came down",
        "Had ended Sun 12 Jul: A new roof",
    ]


def test_the_morning_reading_of_a_daily_gauges_last_day_is_taken(cast):
    gauge = factory.make_gauge("R", kind=GaugeKind.DAILY, ended_on=date(2026, 7, 12))
    morning = factory.seconds(at("07:00", date(2026, 7, 12)))
    for start_s, taken in ((morning - 86_400, True), (morning, True), (morning + 86_400, False)):
        row = (start_s, start_s + 86_400, ReadingKind.MEASURED, 254, "0.01")
        try:
            services.add_readings(gauge=gauge, rows=[row], source=BatchSource.TYPED)
        except Refused:
            assert not taken
        else:
            assert taken
    assert Reading.objects.count() == 2


# -- readers and outages ---------------------------------------------------------------------------------------
def test_readers_are_taken_off_and_added(coordinator, cast):
    gauge = factory.make_gauge("R", kind=GaugeKind.DAILY)
    gauge.readers.set([cast.tenant])
    post(coordinator, "gauge_readers", "R", keep=[], add=cast.owner.pk)
    assert list(gauge.readers.all()) == [cast.owner]
    post(coordinator, "gauge_readers", "R", keep=[cast.owner.pk], add=cast.tenant.pk)
    assert set(gauge.readers.all()) == {cast.owner, cast.tenant}
    post(coordinator, "gauge_readers", "R", keep=[cast.owner.pk, cast.tenant.pk], add="")
    assert [event.why for event in gauge.events.all()] == ["Ines Quist", "Bram Okello, Ines Quist"]


def test_an_outage_is_noted_in_local_time_and_ended_when_the_gauge_is_back(coordinator, cast):
    gauge = factory.make_gauge("G1")
    rain(gauge, at("15:00"), 0.5)
    post(coordinator, "outage_new", "G1", start="2026-07-14T14:00", end="", why="no power")
    outage = gauge.outages.get()
    assert (outage.start_at, outage.end_at) == (at("14:00"), None)
    assert not Storm.objects.standing().exists()
    post(coordinator, "outage", "G1", outage.pk, start="2026-07-14T14:00", end="2026-07-14T14:30", why="no power")  # fmt: skip
    outage.refresh_from_db()
    assert outage.end_at == at("14:30")
    assert Storm.objects.standing().exists()
    assert [(event.became, event.why) for event in gauge.events.all()] == [
        ("out", "Out since Tue 14 Jul, 2 p.m.: no power"),
        ("back", "Out from Tue 14 Jul, 2 p.m. to Tue 14 Jul, 2:30 p.m.: no power"),
    ]


@pytest.mark.parametrize(
    ("start", "end", "sentence"),
    [
        ("2026-07-14T14:00", "2026-07-14T13:00", "cannot be back before it was out"),
        ("2026-07-16T14:00", "", "still to come"),
        ("2026-07-14T14:00", "2026-07-16T13:00", "still to come"),
        ("2026-07-10T14:00", "", "It was out from"),
        ("2026-07-12T12:00", "2026-07-12T12:30", "It was out from"),
        ("soon", "", "Enter a day and a time, e.g. 2026-07-14 07:00."),
        ("2026-03-08T02:30", "2026-03-08T04:00", "may not exist"),
    ],
)
def test_an_impossible_outage_is_refused_in_words(coordinator, cast, start, end, sentence):
    gauge = factory.make_gauge("G1")
    kept = services.note_outage(
        gauge=gauge,
        start_s=factory.seconds(at("12:00", date(2026, 7, 12))),
        end_s=factory.seconds(at("13:00", date(2026, 7, 12))),
        why="no power",
    )
    said = errors(post(coordinator, "outage_new", "G1", start=start, end=end, why="mud"))
    assert sentence in said["start" if "start" in said else "end"]
    assert list(gauge.outages.all()) == [kept]


# -- the book's language, and the number of queries ------------------------------------------------------------
def test_events_and_what_storms_say_are_written_in_the_books_language(cast):
    gauge = factory.make_gauge("G1")
    rain(gauge, at("15:00"), 0.5)
    rain(factory.make_gauge("G2"), at("15:00"), 0.4)
    with translation.override("es"):
        services.note_outage(
            gauge=gauge, start_s=factory.seconds(at("14:00")), end_s=None, why="mud"
        )
        services.end_gauge(gauge=gauge, on=factory.TODAY, why="", by=None)
    assert [event.why for event in gauge.events.all()] == [
        "Out since Tue 14 Jul, 2 p.m.: mud",
        "Last day Wed 15 Jul",
    ]
    assert Storm.objects.standing().get().revisions.last().why == "G1 was out of order."
    assert SiteRain.objects.get(site=cast.site).left_out[0]["why"] == "out of order: mud"


def test_a_gauges_page_asks_as_often_with_many_events_as_with_few(coordinator, cast):
    gauge = factory.make_gauge("G1")

    def asked() -> int:
        with CaptureQueriesContext(connection) as seen:
            coordinator.get(reverse("rain:gauge", args=["G1"]))
        return len(seen)

    for day in (1, 2):
        services.move_gauge(
            gauge=gauge,
            since=date(2026, 7, day),
            lat=34.5,
            lon=-106.2,
            note="",
            by=cast.coordinator,
        )
    few = asked()
    for day in range(3, 9):
        services.move_gauge(
            gauge=gauge,
            since=date(2026, 7, day),
            lat=34.5,
            lon=-106.2,
            note="",
            by=cast.coordinator,
        )
    assert asked() == few
