"""Storms found again because somebody asked, and the dated rules by which they are found."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from stewardship.common.errors import Refused
from stewardship.rain import services
from stewardship.rain.models import RainRule, SiteRain, Storm, StormSearch
from stewardship.rain.tasks import sweep_rain
from tests import factory
from tests.rain.pictures import picture
from tests.rain.test_storms_found import at, rain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]

RULE = {"starts_on": "2026-07-01", "dry_hours": "3", "least": "0.25", "source": "Permit part IV"}


def two_bursts(day: date = date(2026, 7, 10)):
    """Rain at 10:00 and, four dry hours later, at 15:00."""
    gauge = factory.make_gauge("G1")
    rain(gauge, at("10:00", day), 0.3, 0, 0, 0, 0, 0.2)
    return gauge


def ask(browser, **changes):
    typed = {"since": "2026-07-01", "until": "2026-07-15", "why": "The agency changed the rule."}
    return browser.post(reverse("rain:find_again"), typed | changes, follow=True)


# -- rules -----------------------------------------------------------------------------------------------------
def test_t22_a_new_rule_leaves_past_storms_until_somebody_asks(coordinator, cast):
    two_bursts()
    before = picture()
    assert Storm.objects.standing().count() == 1
    said = coordinator.post(reverse("rain:rules"), RULE, follow=True).content.decode()
    assert "The rule holds from Wed 1 Jul on. Past storms stay as they are." in said
    assert picture() == before
    rule = RainRule.objects.get()
    assert (rule.dry_gap_s, rule.least_depth_um, rule.by) == (10_800, 6_350, cast.coordinator)
    assert "Done: 2 storms changed, rain at sites changed in 4 places." in (
        ask(coordinator).content.decode()
    )
    first, second = Storm.objects.standing().order_by("start_s")
    assert (first.start_at, second.start_at) == (
        at("10:00", date(2026, 7, 10)),
        at("15:00", date(2026, 7, 10)),
    )
    assert second.split_from == first
    revision = first.revisions.last()
    assert (revision.why, revision.by) == ("The agency changed the rule.", cast.coordinator)
    assert second.revisions.get().why == "Split off. The agency changed the rule."
    services.withdraw_rain_rule(rule=rule, by=cast.coordinator)
    ask(coordinator, why="The rule was a mistake.")
    assert Storm.objects.standing().get().pk == first.pk
    second.refresh_from_db()
    assert second.merged_into == first
    assert second.revisions.last().why == "It is part of the storm before. The rule was a mistake."


def test_a_rule_that_was_a_slip_is_taken_out_and_stays_told(coordinator, cast):
    coordinator.post(reverse("rain:rules"), RULE | {"dry_hours": "60"})
    again = coordinator.post(reverse("rain:rules"), RULE)
    assert again.context["form"].errors["starts_on"] == [
        "A rule starts on Wed 1 Jul already. Take it out first."
    ]
    rule = RainRule.objects.get()
    coordinator.post(reverse("rain:rule_out", args=[rule.pk]))
    coordinator.post(reverse("rain:rules"), RULE)
    assert RainRule.objects.in_force(on=factory.TODAY).dry_gap_s == 10_800
    assert RainRule.objects.in_force(on=date(2026, 6, 30)).dry_gap_s == 21_600
    said = coordinator.get(reverse("rain:rules")).content.decode()
    assert "taken out" in said
    assert "Rosa Lind" in said
    with pytest.raises(Refused, match="taken out already"):
        services.withdraw_rain_rule(rule=rule, by=None)


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"dry_hours": "0"}, "dry_hours", "Between a quarter of an hour and 168 hours."),
        ({"dry_hours": "six"}, "dry_hours", "Enter a number, e.g. 2.5."),
        ({"least": "-0.1"}, "least", "Look at the decimal point"),
        ({"least": "25"}, "least", "Look at the decimal point"),
        ({"starts_on": "1/2"}, "starts_on", "Enter a day, e.g. 2026-07-14."),
        ({"source": ""}, "source", "Fill this in."),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused_in_words(coordinator, cast, typed, field, sentence):
    response = coordinator.post(reverse("rain:rules"), RULE | typed)
    form = response.context["form"]
    assert list(form.errors) == [field]
    assert sentence in form.errors[field][0]
    assert all(form[name].value() == value for name, value in typed.items())
    assert not RainRule.objects.exists()


def test_a_metric_program_gives_the_least_depth_in_millimetres(coordinator, cast):
    factory.make_program(units="metric")
    coordinator.post(reverse("rain:rules"), RULE | {"least": "2.5"})
    assert RainRule.objects.get().least_depth_um == 2_500
    assert "2.5 mm" in coordinator.get(reverse("rain:rules")).content.decode()


# -- found again -----------------------------------------------------------------------------------------------
def test_asking_without_a_change_changes_nothing_and_is_told(coordinator, cast):
    two_bursts()
    before = picture()
    said = ask(coordinator, why="Just to see").content.decode()
    assert "All storms of these days were found as they were; nothing changed." in said
    assert picture() == before
    search = StormSearch.objects.get()
    assert (search.by, search.storms, search.rains) == (cast.coordinator, 0, 0)
    assert "Just to see" in said


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"since": "2026-07-16"}, "since", "That day is still to come."),
        ({"until": "2026-06-30"}, "until", "The last day cannot be before the first."),
        ({"why": " "}, "why", "Fill this in."),
        ({"since": "when?"}, "since", "Enter a day, e.g. 2026-07-14."),
    ],
)
def test_a_request_that_makes_no_sense_is_refused_in_words(
    coordinator, cast, typed, field, sentence
):
    form = ask(coordinator, **typed).context["form"]
    assert form.errors == {field: [sentence]}
    assert not StormSearch.objects.exists()


def test_long_requests_are_done_by_the_sweep_piece_by_piece_with_the_same_result(coordinator, cast):
    gauge = factory.make_gauge("G1")
    for month in range(1, 8):
        rain(gauge, at("10:00", date(2026, month, 5)), 0.3, 0, 0, 0, 0, 0.2)
    RainRule.objects.create(starts_on=date(2026, 1, 1), dry_gap_s=3 * 3600)
    said = ask(coordinator, since="2026-01-01").content.decode()
    assert "waits its turn" in said
    assert Storm.objects.standing().count() == 7
    sweep_rain()
    assert Storm.objects.standing().count() == 14
    search = StormSearch.objects.get()
    assert (search.storms, search.rains) == (14, 28)
    assert search.reached_s == search.end_s
    assert "waits its turn" not in coordinator.get(reverse("rain:find_again")).content.decode()
    in_pieces = picture()
    sweep_rain()
    assert picture() == in_pieces


def test_a_search_that_fails_waits_and_does_not_keep_others_back(coordinator, cast, monkeypatch):
    two_bursts()
    ask(coordinator, since="2025-01-01")
    first = StormSearch.objects.get()
    ask(coordinator, since="2025-02-01")
    real = services.storms._carry_on

    def fails(pk: int) -> bool:
        if pk == first.pk:
            raise RuntimeError("the database went away")
        return real(pk)

    monkeypatch.setattr(services.storms, "_carry_on", fails)
    sweep_rain()
    assert [search.pk for search in StormSearch.objects.waiting()] == [first.pk]
    monkeypatch.undo()
    sweep_rain()
    assert not StormSearch.objects.waiting().exists()


def test_readings_that_wait_are_found_along_and_once(coordinator, cast):
    gauge = factory.make_gauge("G1")
    factory.make_readings(gauge, at("10:00"), timedelta(hours=1), [0.4])
    ask(coordinator)
    assert Storm.objects.standing().count() == 1
    assert services.find_waiting_storms() == 0


def test_site_rain_that_changes_is_looked_at_again_by_the_care_rules(coordinator, cast):
    gauge = two_bursts()
    SiteRain.objects.update(weighed_at=factory.at(factory.TODAY))
    services.correct_place(place=gauge.places.get(), lat=35.0, lon=-106.2, note="", by=None)
    assert not SiteRain.objects.waiting().exists()
    ask(coordinator)
    assert SiteRain.objects.waiting().count() == 2
