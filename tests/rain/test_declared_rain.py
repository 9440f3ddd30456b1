"""A coordinator's word of what a storm was at a site: over what the gauges say, through every later revision, until taken back."""

from datetime import date
from itertools import permutations

import pytest

from stewardship.common.errors import Refused
from stewardship.rain.choices import Sureness
from stewardship.rain.models import DeclaredRain, SiteRain, Storm
from stewardship.rain.services import declare_rain, withdraw_declared_rain
from tests import factory
from tests.rain.test_site_rain import gauge_at, of_site
from tests.rain.test_storms_found import at, rain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

JAR = "A straight jar by the mailbox, read the next morning"


@pytest.fixture
def author():
    return factory.make_user("coordinator", name="Maren Voss")


def say(author, inches: float, *, code: str = "OAK-1", reason: str = JAR) -> DeclaredRain:
    found = of_site(code)
    return declare_rain(
        storm=found.storm,
        site=found.site,
        depth_um=factory.um(inches),
        typed=f"{inches} in",
        reason=reason,
        by=author,
    )


@pytest.fixture
def unknown():
    """Two sites; the gauge near one has a gap in the storm that the other's gauge measured."""
    factory.make_built_site("OAK-1")
    factory.make_built_site("ASH-2", lat=factory.LAT + 0.3)
    far = factory.make_gauge("FAR", lat=factory.LAT + 0.301)
    near = gauge_at("NEAR", 400)
    rain(near, at("15:00"), None, None)
    rain(far, at("15:00"), 0.5, 0.3)
    assert of_site().sureness == Sureness.UNKNOWN
    return near, far


def test_t15_where_no_gauge_was_at_work_a_persons_word_counts_with_name_and_reason(unknown, author):
    said = say(author, 0.62)
    found = of_site()
    assert (found.depth_um, found.sureness) == (factory.um(0.62), Sureness.DECLARED)
    assert (said.by, said.reason, said.typed) == (author, JAR, "0.62 in")
    assert found.left_out, "the gauge that was out stays named"
    assert found.weighed_at is None, "care rules look at it"
    water = found.waters.get()
    assert water.inflow_m3 > 0
    assert water.coarse, "nobody said how it ran"
    assert of_site("ASH-2").sureness != Sureness.DECLARED


def test_t15_a_declaration_outlives_later_revisions_of_the_storm(unknown, author):
    near, far = unknown
    say(author, 0.62)
    rain(far, at("17:00"), 0.4)
    storm = Storm.objects.standing().get()
    assert storm.revision > 1
    rain(near, at("17:00"), 0.1)
    assert (of_site().depth_um, of_site().sureness) == (factory.um(0.62), Sureness.DECLARED)


def test_t15_taken_back_the_gauges_speak_again_and_the_word_is_kept(unknown, author):
    said = say(author, 0.62)
    withdraw_declared_rain(declared=said, by=author)
    withdraw_declared_rain(declared=said, by=author)
    assert of_site().sureness == Sureness.UNKNOWN
    assert of_site().depth_um is None
    assert not of_site().waters.exists()
    said.refresh_from_db()
    assert said.withdrawn_by == author
    assert DeclaredRain.objects.count() == 1


def test_the_same_word_twice_is_one_and_another_takes_its_place(unknown, author):
    assert say(author, 0.62) == say(author, 0.62)
    say(author, 0.4, reason="Read again: 0.40")
    assert of_site().depth_um == factory.um(0.4)
    assert DeclaredRain.objects.count() == 2
    assert DeclaredRain.objects.standing().get().depth_um == factory.um(0.4)


def test_a_site_that_somebody_saw_stay_dry_had_none(unknown, author):
    say(author, 0)
    assert of_site().depth_um == 0
    assert not of_site().waters.exists()


def test_without_a_reason_nothing_is_declared(unknown, author):
    with pytest.raises(Refused, match="Say how you know"):
        say(author, 0.5, reason="  ")
    assert not DeclaredRain.objects.exists()


def test_nothing_is_declared_for_a_site_that_did_not_stand_then(unknown, author):
    later = factory.make_built_site("NEW-9", on=date(2026, 7, 15))
    with pytest.raises(Refused, match="did not stand"):
        declare_rain(
            storm=Storm.objects.standing().get(),
            site=later,
            depth_um=1000,
            typed="1 mm",
            reason=JAR,
            by=author,
        )


@pytest.mark.parametrize("order", list(permutations(("late hour", "correction", "word"))))
def test_the_order_in_which_word_and_readings_come_makes_no_difference(order, author):
    factory.make_built_site("OAK-1")
    factory.make_built_site("OAK-2", lat=factory.LAT - 0.002)
    gauge = gauge_at("A", 2_000)
    rain(gauge, at("15:00"), 0.3, 0.2)
    steps = {
        "late hour": lambda: rain(gauge, at("17:00"), 0.1),
        "correction": lambda: rain(gauge, at("15:00"), 0.5),
        "word": lambda: say(author, 0.44),
    }
    for step in order:
        steps[step]()
    rows = SiteRain.objects.standing().order_by("site__code")
    assert list(rows.values_list("site__code", "depth_um", "sureness")) == [
        ("OAK-1", factory.um(0.44), Sureness.DECLARED),
        ("OAK-2", factory.um(0.8), Sureness.ESTIMATED),
    ]
    water = rows[0].waters.get()
    assert (rows[0].peak_60min_um, water.coarse) == (None, True)


def test_what_was_said_of_a_storm_speaks_for_the_one_it_became_part_of(author):
    factory.make_built_site("OAK-1")
    gauge = gauge_at("A", 2_000)
    rain(gauge, at("03:00"), 0.1)
    rain(gauge, at("11:00"), 0.3)
    first, second = Storm.objects.standing().order_by("start_s")
    for storm, inches in ((first, 0.2), (second, 0.5)):
        declare_rain(
            storm=storm,
            site=SiteRain.objects.filter(storm=storm).get().site,
            depth_um=factory.um(inches),
            typed=f"{inches} in",
            reason=JAR,
            by=author,
        )
    rain(gauge, at("07:00"), 0.1)
    found = SiteRain.objects.standing().get()
    assert found.sureness == Sureness.DECLARED
    said = DeclaredRain.objects.speaking_for(found.storm, found.site)
    assert found.depth_um == said.depth_um
