"""The demo program: it loads into an empty book, tells its story, is the same every time, and is never loaded twice."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from io import StringIO

import pytest
import time_machine
from django.apps import apps
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Count, F, Q

from people.choices import Channel, Role
from people.models import Agency, ContactPoint, Household, Person, Program, User, Volunteer
from sites.choices import Stage
from sites.models import Site
from stewardship.agreements.choices import AgreementState, InstrumentKind
from stewardship.agreements.models import Agreement, Responsibility
from stewardship.agreements.services import missing_signatures, offering
from stewardship.care.choices import CheckReason, DutyState, NeedsPerson, Trigger
from stewardship.care.models import CareRule, CleanOut, ContactCheck, Duty, Reminder, Visit
from stewardship.management.demo import DEMO_LOGINS
from stewardship.outbox.choices import Status
from stewardship.outbox.models import Message
from stewardship.rain.choices import GaugeKind, ReadingKind
from stewardship.rain.models import (
    FrequencyTable,
    Gauge,
    GaugeOutage,
    Reading,
    ReadingBatch,
    SiteRain,
    Storm,
)
from stewardship.rain.times import instant
from stewardship.rain.unusual import unusual_at_gauges, unusual_at_sites
from tests import factory
from tests.factory import TODAY

LATEST_STORM = TODAY - timedelta(days=3)
EARLIER_STORM = TODAY - timedelta(days=12)


def load_demo(**options) -> str:
    said = StringIO()
    call_command("load_demo", stdout=said, **options)
    return said.getvalue()


def rows_of_all_tables() -> dict[str, int]:
    return {
        model._meta.label: model._default_manager.count()
        for model in apps.get_models()
        if model.__module__.startswith(("people", "sites", "stewardship"))
    }


def story() -> list[tuple]:
    """What must be the same whenever the demo is loaded for the same day; keys of rows left out."""
    return [
        *Reading.objects.order_by("gauge__code", "start_s").values_list(
            "gauge__code", "start_s", "kind", "depth_um"
        ),
        *SiteRain.objects.order_by("storm__start_s", "site__code").values_list(
            "site__code", "storm__start_s", "depth_um", "sureness"
        ),
        *Duty.objects.order_by("site__code", "opened_on", "trigger", "due_on").values_list(
            "site__code", "trigger", "state", "opened_on", "due_on", "closed_on"
        ),
        *Visit.objects.order_by("site__code", "happened_on", "minutes", "note").values_list(
            "site__code", "happened_on", "minutes", "note", "evidence"
        ),
        *Message.objects.order_by("to_address", "due_at", "template", "language").values_list(
            "to_address", "due_at", "template", "status", "language"
        ),
    ]


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker) -> Iterator[tuple[str, list[tuple]]]:
    """The demo on a fixed day, once for all tests here: what loading it said, and the story of an earlier load, taken back.

    One real document stands for all agreements: making 26 takes time.
    """
    documents: list[bytes] = []
    patch = pytest.MonkeyPatch()
    render = offering.render
    patch.setattr(
        offering,
        "render",
        lambda sheet: (documents or documents.append(render(sheet)) or documents)[0],
    )
    with (
        django_db_blocker.unblock(),
        time_machine.travel(factory.at(TODAY), tick=False),
        transaction.atomic(),
    ):
        with transaction.atomic():
            load_demo()
            told = story()
            transaction.set_rollback(True)
        yield load_demo(), told
        transaction.set_rollback(True)
    patch.undo()


@pytest.fixture(autouse=True)
def loaded(demo, db, frozen_day) -> None:
    """Each test here has the demo, and takes back what it changes."""


# -- what there is --------------------------------------------------------------------------------------------
def test_it_says_what_it_loaded(demo):
    assert demo[0] == "Loaded the demo program: 30 sites, 45 households, 20 volunteers.\n"


def test_thirty_sites_stand_in_all_stages():
    assert Counter(Site.objects.values_list("stage", flat=True)) == {
        Stage.BUILT: 21,
        Stage.PROPOSED: 4,
        Stage.AGREED: 3,
        Stage.RETIRED: 2,
    }


def test_households_agencies_volunteers_and_gauges_are_as_many_as_promised():
    assert Household.objects.count() == 45
    assert not Household.objects.filter(people=None).exists()
    assert Agency.objects.count() == 2
    assert Volunteer.objects.count() == 20
    kinds = Counter(Gauge.objects.values_list("kind", flat=True))
    assert kinds == {GaugeKind.DAILY: 4, GaugeKind.TIPPING: 1, GaugeKind.INTERVAL: 1}


def test_everybody_in_it_is_invented():
    """RFC 2606 §3 sets example.org aside; 555-0100 to 555-0199 are numbers that no phone company gives out."""
    for kind, value in ContactPoint.objects.values_list("kind", "value"):
        if kind == "email":
            assert value.endswith("@example.org")
        if kind == "phone":
            assert value.startswith("555-01")


def test_every_role_can_sign_in():
    for _who, email, password in DEMO_LOGINS:
        assert authenticate(None, username=email, password=password), email
    roles = set(User.objects.values_list("memberships__role", flat=True))
    assert roles == set(Role.values)


def test_three_years_of_rain_end_the_day_before():
    readings = Reading.objects.order_by("start_s")
    first, last = readings.first(), readings.order_by("-end_s").first()
    assert instant(first.start_s).date() == date(2023, 7, 15)
    assert instant(last.end_s).astimezone(factory.ZONE).date() == TODAY
    assert not ReadingBatch.objects.exclude(rejected=0).exists()
    assert not ReadingBatch.objects.filter(storms_found_at=None).exists()


def test_automatic_gauges_report_quarter_hours_and_readers_whole_days():
    wet = Reading.objects.filter(kind=ReadingKind.MEASURED).annotate(
        length_s=F("end_s") - F("start_s")
    )
    automatic = wet.exclude(gauge__kind=GaugeKind.DAILY)
    assert set(automatic.values_list("length_s", flat=True)) == {900}
    daily = set(wet.filter(gauge__kind=GaugeKind.DAILY).values_list("length_s", flat=True))
    # Read at 7 by the clock: the day on which clocks change has 23 or 25 hours.
    assert daily <= {23 * 3600, 24 * 3600, 25 * 3600}


def test_neighbouring_gauges_differ_and_agree_over_a_year():
    """A year brings 7 to 14 in at each gauge: nine to eleven over the town, more or less at one place."""
    year_ago_s = factory.seconds(factory.at(TODAY - timedelta(days=365)))
    for gauge in Gauge.objects.all():
        depths = gauge.readings.filter(start_s__gte=year_ago_s, depth_um__isnull=False)
        inches = sum(depths.values_list("depth_um", flat=True)) / factory.UM_PER_INCH
        assert 7 <= inches <= 14, gauge


# -- the story ------------------------------------------------------------------------------------------------
def test_agreements_of_every_instrument_are_in_force():
    in_force = Agreement.objects.filter(state=AgreementState.IN_FORCE)
    assert set(in_force.values_list("instrument", flat=True)) == set(InstrumentKind.values)
    for agreement in in_force:
        assert not missing_signatures(agreement)


def test_every_built_site_has_an_agreement_in_force_but_the_house_that_was_sold():
    bare = [
        site.code
        for site in Site.objects.filter(stage=Stage.BUILT)
        if not site.agreements.in_force(on=TODAY).exclude(instrument=InstrumentKind.HELPER)
    ]
    assert bare == ["TAR-402"]


def test_t01_the_sold_house_has_nobody_and_says_so():
    site = Site.objects.get(code="TAR-402")
    held = Responsibility.objects.filter(site=site, role="does")
    assert held.get().ended_why == "The property was sold"
    assert not held.as_of(TODAY).exists()
    duty = Duty.objects.open().get(site=site, trigger=Trigger.AFTER_RAIN)
    assert duty.owed_by is None


def test_t02_a_tenant_without_the_landlords_consent_leaves_the_agreement_incomplete():
    agreement = Agreement.objects.get(sites__code="VAD-51")
    assert agreement.state == AgreementState.OFFERED
    assert agreement.sites.get().stage == Stage.PROPOSED
    assert {one.capacity for one in missing_signatures(agreement)} == {"landlord", "program"}


def test_one_agency_site_is_neglected():
    open_here = Duty.objects.open().filter(site__code="BRI-726")
    assert open_here.filter(trigger=Trigger.AFTER_RAIN, needs_person_why=NeedsPerson.NO_ANSWER)
    assert open_here.filter(trigger=Trigger.FINDING, due_on__lt=TODAY).count() >= 2
    last_work = Visit.objects.filter(site__code="BRI-726", done_by_agency__isnull=False).first()
    assert last_work.happened_on < TODAY - timedelta(days=250)


def test_t15_one_gauge_was_out_in_a_storm_and_is_named_as_left_out():
    outage = GaugeOutage.objects.get()
    storm = Storm.objects.standing().overlapping(outage.start_s, outage.end_s).latest("greatest_um")
    assert storm.greatest_um >= factory.um(0.25)
    left_out = [rain.left_out for rain in storm.site_rains.all()]
    assert any("waterworks" in [one["gauge"] for one in row] for row in left_out)
    used = {one["gauge"] for rain in storm.site_rains.all() for one in rain.sources}
    assert used and "waterworks" not in used


def test_t38_a_couple_shares_one_address_and_gets_one_letter():
    shared = ContactPoint.objects.annotate(n=Count("people")).get(value="quist.amaro@example.org")
    assert shared.n == 2
    languages = Message.objects.filter(to_address=shared.value).values_list("language", flat=True)
    assert set(languages) == {"en", "es"}, "Lena reads English, Mateo Spanish"


def test_t39_a_spanish_speaking_household_is_written_to_on_paper():
    letters = Message.objects.filter(to_name__contains="Zaldívar")
    assert {(one.channel, one.language) for one in letters} == {(Channel.LETTER, "es")}
    assert letters.filter(status=Status.SENT).exists()
    assert letters.to_print().exists()


def test_somebody_has_no_channel_and_is_a_job_for_the_coordinator():
    check = ContactCheck.objects.open().get(reason=CheckReason.NO_CHANNEL)
    assert check.person.full_name == "Teófilo Barragán"
    assert not Reminder.objects.filter(person=check.person).exists()


def test_t35_not_mine_and_a_bounce_are_jobs_for_the_coordinator():
    reasons = ContactCheck.objects.open().values_list("reason", flat=True)
    assert {CheckReason.NOT_MINE, CheckReason.BOUNCED} <= set(reasons)
    failed = Message.objects.get(status=Status.FAILED)
    assert ContactPoint.objects.get(value=failed.to_address).dead_since


def test_no_letter_went_to_somebody_who_wants_none():
    silent = Person.objects.filter(channel=Channel.NONE)
    assert silent.exists()
    assert not Reminder.objects.filter(person__in=silent).exists()


# -- the last storm -------------------------------------------------------------------------------------------
def latest_storm() -> Storm:
    return Storm.objects.standing().latest("start_s")


def test_the_latest_storm_lies_three_days_back_over_the_east_side():
    storm = latest_storm()
    assert storm.start_at.astimezone(factory.ZONE).date() == LATEST_STORM
    depths = dict(storm.site_rains.values_list("site__code", "depth_um"))
    assert depths["PUM-815"] > factory.um(0.9)
    assert depths["CEN-118"] < factory.um(0.15)


def test_how_unusual_the_latest_storm_was_is_told_from_an_invented_table():
    table = FrequencyTable.objects.standing().get()
    assert "invented" in table.name and "Invented" in table.source
    storm = Storm.objects.standing().order_by("-start_s").first()
    parts = list(storm.gauge_storms.select_related("gauge").order_by("-depth_um"))
    found = unusual_at_gauges(parts, zone=Program.get().tz)
    assert found[parts[0].pk].words().endswith("-minute rain")
    assert unusual_at_sites(list(storm.site_rains.select_related("site", "storm")))


def test_everybody_whose_site_had_enough_of_the_latest_storm_was_told_and_nobody_else():
    storm = latest_storm()
    wanted = set()
    for rain in storm.site_rains.select_related("site"):
        phase = rain.site.phase(on=LATEST_STORM)
        rule = CareRule.objects.on(TODAY).get(trigger=Trigger.AFTER_RAIN, phase=phase)
        if rain.depth_um >= rule.least_depth_um:
            wanted.add(rain.site.code)
    assert 5 <= len(wanted) < storm.site_rains.count()
    assert set(Duty.objects.filter(storms=storm).values_list("site__code", flat=True)) == wanted
    told = Reminder.objects.filter(duty__opened_on__gt=LATEST_STORM).exclude(
        duty__trigger=Trigger.CALENDAR
    )
    assert set(told.values_list("duty__site__code", flat=True)) <= wanted


def test_some_have_answered_some_not_and_some_are_late():
    latest = Duty.objects.filter(opened_on__gt=LATEST_STORM, trigger=Trigger.AFTER_RAIN)
    assert latest.filter(answers__kind="done", state=DutyState.MET).exists()
    assert latest.filter(answers__kind="cannot", state=DutyState.OPEN).exists()
    assert latest.filter(answers=None, state=DutyState.OPEN).exists()
    earlier = Duty.objects.filter(
        opened_on=EARLIER_STORM + timedelta(days=1), trigger=Trigger.AFTER_RAIN
    )
    assert earlier.filter(state=DutyState.MET, closed_on__gt=F("due_on")).exists()
    assert earlier.filter(answers__kind="not_mine", state=DutyState.OPEN).exists()
    assert Duty.objects.late(on=TODAY).exists()


# -- the years before -----------------------------------------------------------------------------------------
def test_the_past_is_told_in_the_shape_in_which_the_services_tell_the_present():
    """The reason of a duty of the past, written in bulk, has the keys of one that the sweep opened."""
    for trigger in (Trigger.AFTER_RAIN, Trigger.CALENDAR):
        duties = Duty.objects.filter(trigger=trigger).order_by("opened_on")
        past, present = duties.first(), duties.last()
        assert past.opened_on < EARLIER_STORM - timedelta(days=300)
        assert set(past.reason) == set(present.reason)
        if trigger == Trigger.AFTER_RAIN:
            assert set(past.reason["rains"][0]) == set(present.reason["rains"][0])


def test_duties_of_the_past_hold_together():
    assert Duty.objects.count() > 300
    assert not Duty.objects.filter(trigger=Trigger.AFTER_RAIN, storms=None).exists()
    for duty in Duty.objects.select_related("site", "owed_by"):
        assert duty.site.built_on <= duty.opened_on
        if duty.owed_by:
            assert duty.owed_by.site_id == duty.site_id
            assert duty.owed_by.starts_on <= duty.opened_on
        states = list(duty.events.values_list("became", flat=True))
        assert states[-1] == duty.state, duty


def test_met_duties_have_a_visit_and_no_visit_was_before_the_site_was_built():
    for duty in Duty.objects.filter(state=DutyState.MET):
        assert duty.site.visits.filter(happened_on=duty.closed_on).exists()
    assert not Visit.objects.filter(happened_on__lt=F("site__built_on")).exists()
    assert not Visit.objects.filter(happened_on__gt=TODAY).exists()


def test_silt_was_taken_out_of_traps_that_can_hold_it():
    outs = CleanOut.objects.select_related("trap")
    assert outs.count() > 100
    for out in outs:
        trap = out.trap
        assert out.litres <= trap.length_m * trap.width_m * trap.depth_m * 1_000
        assert 0 <= out.drop_before_m <= trap.depth_m + 0.01


def test_most_of_what_was_due_was_done_in_time_and_not_all():
    closed = Duty.objects.filter(opened_on__lt=EARLIER_STORM).exclude(state=DutyState.WITHDRAWN)
    in_time = closed.filter(state=DutyState.MET, closed_on__lte=F("due_on")).count()
    assert 0.6 < in_time / closed.count() < 0.95


def test_letters_of_the_past_say_when_they_went_out_and_in_which_words():
    sent = Message.objects.filter(status=Status.SENT)
    assert sent.count() > 50
    assert not sent.filter(Q(subject="") | Q(text="", html="")).exists()
    assert not sent.filter(sent_at__gt=factory.at(TODAY)).exists()


def test_nothing_was_written_down_later_than_the_story_says():
    """Whatever the services noted while loading carries the day on which it happened."""
    for duty in Duty.objects.exclude(closed_on=None):
        assert duty.events.last().at.astimezone(factory.ZONE).date() == duty.closed_on
    for agreement in Agreement.objects.filter(state=AgreementState.IN_FORCE):
        first = agreement.events.first().at.astimezone(factory.ZONE).date()
        assert first < agreement.begins_on


# -- again ----------------------------------------------------------------------------------------------------
def test_the_story_of_a_day_is_the_same_every_time(demo):
    assert story() == demo[1]


def test_a_book_in_use_is_left_alone():
    Program.objects.update(name="Palo Azul Basin Keepers")
    before = rows_of_all_tables()
    with pytest.raises(CommandError, match="in use already"):
        load_demo()
    assert rows_of_all_tables() == before


def test_loading_again_changes_nothing():
    before, told = rows_of_all_tables(), story()
    assert load_demo() == "The demo program is loaded already; nothing was changed.\n"
    assert rows_of_all_tables() == before
    assert story() == told
