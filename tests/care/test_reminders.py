"""Who is told, where, when and in which words; never twice."""

from datetime import date, timedelta

import pytest
from django.core import mail
from django.urls import reverse

from people.choices import Channel, Language
from people.models import Household
from stewardship.care import services
from stewardship.care.choices import CheckReason, NeedsPerson
from stewardship.care.models import ContactCheck, Duty, Reminder
from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import Message
from stewardship.outbox.services import stop_reminders
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, revise, statuses, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"


def words_to(address: str) -> str:
    """The plain words of the only letter to an address."""
    (letter,) = letters_to(address)
    return write(letter).text


def test_only_those_whose_corner_it_reached_are_told(cast):
    storm = rain(cast.site)
    rain(cast.other_site, storm=storm, depth_in=0.1)
    services.weigh_site_rains(on=factory.TODAY)
    services.send_first_reminders(at=noon())
    assert [reminder.person for reminder in Reminder.objects.all()] == [cast.owner]


def test_t26_the_letter_says_name_basin_reason_day_time_things_to_bring_and_cautions(cast):
    cast.site.cart_litres, cast.site.collection_weekday = 363, 3
    cast.site.save()
    rain(cast.site, water={})
    sweep()
    said = words_to(OWNER)
    for part in (
        "Hello Ines,",
        "Please look after the basin at 110 Saltbush Street by Sun 19 Jul.",
        "0.62 in on Tue 14 Jul, from gauge G1",
        "about 30 min",
        "gloves",
        "Brush debris off the blue grama; the water stood about 7.1 in deep there.",
        "on collection morning (Thursday): at most 5 half-filled buckets",
        "Never reach into running water.",
        "505-555-0100",
    ):
        assert part in said


def test_the_letter_leads_to_the_persons_own_page(cast, client):
    rain(cast.site)
    sweep()
    (path,) = {
        line.removeprefix("http://127.0.0.1:8000")
        for line in words_to(OWNER).splitlines()
        if "/care/a/" in line
    }
    assert client.get(path).status_code == 200


def test_the_letter_goes_out_by_mail_once(cast):
    rain(cast.site)
    sweep()
    deliver_due()
    deliver_due()
    sweep()
    deliver_due()
    (sent,) = mail.outbox
    assert sent.to == ["Ines Quist <ines.quist@example.org>"]
    assert "Please look after the basin" in sent.subject
    assert "text/html" in [part[1] for part in sent.alternatives]


def test_a_letter_speaks_its_readers_language_whatever_the_sweep_speaks(cast):
    cast.owner.language = Language.ES
    cast.owner.save()
    rain(cast.site)
    sweep()
    assert letters_to(OWNER)[0].language == "es"


def test_a_letter_on_paper_has_the_address_the_checklist_and_the_phone_number(cast):
    rain(cast.other_site, water={})
    sweep()
    (letter,) = letters_to("210 Yucca Lane")
    html = write(letter).html
    assert letter.channel == Channel.LETTER
    for part in ("Odile Farrow", "210 Yucca Lane", "Sediment trap", "505-555-0100", "Done on"):
        assert part in html
    assert "/care/a/" not in html


def test_letters_to_post_say_by_when_they_ask_so_that_a_call_may_come_first(cast, coordinator):
    rain(cast.other_site)
    sweep()
    page = coordinator.get(reverse("outbox:to_post")).content.decode()
    assert "Sun 19 Jul" in page and "call as well" in page


@pytest.mark.parametrize(
    ("clock", "day", "due"),
    [("21:00", factory.TODAY, "09:00"), ("12:00", factory.TODAY, "12:00")],
)
def test_reminders_are_due_within_the_hours_for_them(cast, frozen_day, clock, day, due):
    frozen_day.move_to(factory.at(day, clock), tick=False)
    rain(cast.site)
    sweep(day, clock)
    due_at = letters_to(OWNER)[0].due_at.astimezone(factory.ZONE)
    assert due_at.strftime("%H:%M") == due
    assert (due_at.date() - day).days == (1 if clock == "21:00" else 0)


def test_a_letter_waits_until_the_storm_is_over_for_good(cast):
    # Six dry hours end a storm (the rain rule's default): 12:00 + 6 h.
    rain(cast.site, day=factory.TODAY, clock="10:00")
    sweep(clock="12:30")
    due_at = letters_to(OWNER)[0].due_at.astimezone(factory.ZONE)
    assert due_at.strftime("%d %H:%M") == "15 18:00"


def test_a_letter_that_waits_tells_the_newest_figures(cast, frozen_day):
    frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
    storm = rain(cast.site)
    sweep(clock="20:00")
    revise(storm, cast.site, depth_in=0.9)
    sweep(clock="20:15")
    assert "0.90 in on Tue 14 Jul" in words_to(OWNER)


def test_t19_a_storm_that_joins_makes_no_second_letter(cast):
    rain(cast.site, day=date(2026, 7, 13))
    sweep(TUESDAY)
    rain(cast.site, day=TUESDAY, clock="09:00")
    sweep(factory.TODAY)
    assert "2 storms from Mon 13 Jul to Tue 14 Jul" in words_to(OWNER)


def test_a_letter_that_waits_is_taken_back_when_the_work_is_done(cast):
    rain(cast.site)
    sweep()
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    assert statuses(letters_to(OWNER)) == ["suppressed"]


def test_t38_a_couple_that_shares_one_address_gets_one_letter(cast):
    partner = factory.make_person("Rob", "Amaro", email="Ines.Quist@example.org")
    factory.make_agreement(
        [cast.site], signers=[(partner, "owner")], on=date(2025, 4, 1), reference="SECOND"
    )
    rain(cast.site)
    sweep()
    sweep()
    (letter,) = letters_to(OWNER)
    assert letter.to_name == "Ines Quist, Rob Amaro"
    assert "Hello Ines and Rob," in write(letter).text
    assert {reminder.person for reminder in letter.reminders.all()} == {cast.owner, partner}


def test_one_person_with_two_sites_gets_one_letter_about_both(cast):
    second = factory.make_built_site("ASH-3", owner=cast.owner)
    storm = rain(cast.site)
    rain(second, storm=storm)
    sweep()
    said = words_to(OWNER)
    assert "110 Saltbush Street" in said and "310 Saltbush Street" in said
    assert said.count("/care/a/") == 2


def test_a_second_site_found_a_sweep_later_joins_the_letter_that_waits(cast, frozen_day):
    frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
    second = factory.make_built_site("ASH-3", owner=cast.owner)
    storm = rain(cast.site)
    sweep(clock="20:00")
    rain(second, storm=storm)
    sweep(clock="20:01")
    assert words_to(OWNER).count("/care/a/") == 2


def test_when_one_of_two_sites_is_done_the_letter_tells_of_the_other_only(cast, frozen_day):
    frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
    second = factory.make_built_site("ASH-3", owner=cast.owner)
    storm = rain(cast.site)
    rain(second, storm=storm)
    sweep(clock="20:00")
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    said = words_to(OWNER)
    assert "310 Saltbush Street" in said and "110 Saltbush Street" not in said


def test_at_agency_sites_people_with_an_office_there_are_told(cast):
    officer = factory.make_person(
        "Nia", "Holt", email="nia.holt@example.org", agency=cast.agency, agency_office="Maintenance"
    )
    factory.make_person("Pat", "Reyes", email="pat.reyes@example.org", agency=cast.agency)
    cast.site.responsibilities.update(person=None, agency=cast.agency)
    rain(cast.site)
    sweep()
    assert [reminder.person for reminder in Reminder.objects.all()] == [officer]


def test_a_person_without_any_channel_becomes_a_job_and_the_duty_stands_on_the_list(cast):
    cast.owner.contact_points.all().delete()
    rain(cast.site)
    sweep()
    sweep()
    check = ContactCheck.objects.get()
    assert (check.person, check.reason) == (cast.owner, CheckReason.NO_CHANNEL)
    duty = open_duty(cast.site)
    assert duty.needs_person_why == NeedsPerson.NO_CHANNEL
    assert duty in Duty.objects.needing_a_person()


def test_once_an_address_is_known_the_letter_goes_out(cast):
    cast.owner.contact_points.all().delete()
    rain(cast.site)
    sweep()
    cast.owner.contact_points.create(kind="email", value="new.quist@example.org")
    sweep()
    assert len(letters_to("new.quist@example.org")) == 1


def test_without_an_address_of_their_own_the_households_reaches_them(cast):
    cast.owner.contact_points.all().delete()
    cast.owner.household = Household.objects.create(name="Quist", address="110 Saltbush Street")
    cast.owner.save()
    rain(cast.site)
    sweep()
    assert letters_to("110 Saltbush Street")[0].channel == Channel.LETTER


def test_an_address_that_is_no_address_does_not_stop_the_others(cast):
    point = cast.owner.contact_points.get(kind="email")
    point.value = "not an address"
    point.save()
    cast.owner.contact_points.filter(kind="postal").delete()
    storm = rain(cast.site)
    rain(cast.other_site, storm=storm)
    sweep()
    assert ContactCheck.objects.get().person == cast.owner
    assert len(letters_to("210 Yucca Lane")) == 1


def test_t37_stop_texts_but_take_letters(cast):
    cast.owner.contact_points.create(kind="phone", value="505-555-0122")
    cast.owner.channel = Channel.TEXT
    cast.owner.save()
    rain(cast.site)
    sweep()
    assert letters_to("505-555-0122")[0].channel == Channel.TEXT
    cast.owner.channel = Channel.LETTER
    cast.owner.save()
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    rain(cast.site, day=date(2026, 7, 16))
    sweep(date(2026, 7, 17))
    assert letters_to("110 Saltbush Street")[0].channel == Channel.LETTER
    assert len(letters_to("505-555-0122")) == 1


def test_t37_whoever_wants_no_reminders_gets_none_and_still_owes_the_work(cast):
    cast.owner.channel = Channel.NONE
    cast.owner.save()
    rain(cast.site)
    sweep()
    assert not Message.objects.exists()
    assert not ContactCheck.objects.exists()
    assert open_duty(cast.site).owed_by.person == cast.owner


def test_t37_an_opt_out_by_mail_suppresses_the_letter_and_leaves_the_duty(cast):
    stop_reminders(address=OWNER, channel="email")
    rain(cast.site)
    sweep()
    assert statuses(letters_to(OWNER)) == ["suppressed"]
    assert open_duty(cast.site)


def test_a_calendar_round_is_not_told_beside_the_rains_letter(cast, unseen):
    services.open_calendar_duties(on=TUESDAY)
    rain(cast.site)
    sweep()
    assert open_duties_told(cast.site) == ["after_rain"]


def open_duties_told(site):
    return list(Reminder.objects.filter(duty__site=site).values_list("duty__trigger", flat=True))


def test_nobody_is_told_while_a_person_still_decides_whether_it_was_needless(cast, frozen_day):
    storm = rain(cast.site)
    services.weigh_site_rains(on=factory.TODAY)
    revise(storm, cast.site, depth_in=0.1)
    sweep()
    assert not letters_to(OWNER)


def test_the_number_of_queries_does_not_grow_with_the_sites_already_told(
    cast, django_assert_max_num_queries
):
    storm = rain(cast.site)
    for n in range(3, 9):
        rain(factory.make_built_site(f"ASH-{n}"), storm=storm)
    services.weigh_site_rains(on=factory.TODAY)
    services.send_first_reminders(at=noon())
    # program, duties, told, responsibilities, persons, their contact points, agency contacts, not-mine jobs
    with django_assert_max_num_queries(10):
        services.send_first_reminders(at=noon() + timedelta(minutes=1))


def test_a_letter_of_late_work_asks_for_a_day_after_the_newest_rain(cast):
    rain(cast.site)
    sweep()
    rain(cast.site, day=date(2026, 7, 23), depth_in=0.8)
    sweep(date(2026, 7, 24))
    second = write(letters_to(OWNER)[-1]).text
    assert "due Sat 25 Jul" in second
    assert "it was due Sun 19 Jul, and it has rained again since" in second
