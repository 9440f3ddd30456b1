"""Whoever moved, bounced or cannot be reached becomes one job, and the address gets no more letters."""

from datetime import date

import pytest
from django.core import mail

from stewardship.care import services
from stewardship.care.choices import CheckReason
from stewardship.care.models import ContactCheck, Reminder
from stewardship.common.errors import Refused
from stewardship.outbox.choices import MessageClass, Status
from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message, retry_message
from tests import factory
from tests.care.book import letters_to, noon, open_duty, rain, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"


def bounce(address: str) -> None:
    """The mail server said that nobody is there: RFC 3463 §3.2, code 5.1.1."""
    Message.objects.filter(to_address=address).update(
        status=Status.FAILED, error="550 5.1.1 no such user", error_code="5.1.1"
    )


def test_t35_a_bounce_opens_the_verify_contact_job_once(cast):
    rain(cast.site)
    sweep()
    bounce(OWNER)
    sweep()
    sweep()
    check = ContactCheck.objects.get()
    assert (check.person, check.reason) == (cast.owner, CheckReason.BOUNCED)
    assert OWNER in check.note


def test_t35_later_letters_avoid_the_address_that_bounced(cast):
    rain(cast.site, day=date(2026, 7, 9))
    sweep(date(2026, 7, 10))
    bounce(OWNER)
    sweep(date(2026, 7, 10))
    services.record_visit(site=cast.site, happened_on=date(2026, 7, 11))
    rain(cast.site)
    sweep()
    # the owner has a postal address, too
    assert len(letters_to(OWNER)) == 1
    assert len(letters_to("110 Saltbush Street")) == 1


def test_t35_a_settled_job_is_not_opened_again_by_the_same_bounce(cast):
    rain(cast.site)
    sweep()
    bounce(OWNER)
    sweep()
    services.close_contact_check(check=ContactCheck.objects.get(), outcome="new address by phone")
    sweep()
    assert not ContactCheck.objects.open().exists()


def test_t35_a_letter_that_came_back_opens_the_same_job(cast, coordinator):
    rain(cast.other_site)
    sweep()
    Message.objects.update(status=Status.SENT, sent_at=noon())
    reminder = Reminder.objects.get()
    for _ in range(2):
        coordinator.post(f"/care/reminders/{reminder.pk}/came-back/")
    check = ContactCheck.objects.get()
    assert (check.person, check.reason) == (cast.other_owner, CheckReason.BOUNCED)
    assert cast.other_owner.contact_points.get().dead_since == factory.TODAY


def _notice(key: str, **changes) -> Message:
    facts = {
        "key": key,
        "message_class": MessageClass.NOTICE,
        "channel": "email",
        "to_name": "Ines Quist",
        "to_address": OWNER,
        "language": "en",
        "template": "reminder-first",
        "context": {"names": "Ines", "sites": []},
        "due_at": noon(),
    }
    return queue_message(**(facts | changes))


def test_t35_a_notice_to_the_dead_address_fails_in_sight_whether_it_waited_or_is_made_later(cast):
    rain(cast.site)
    sweep()
    waiting = _notice("waiting")
    bounce(OWNER)
    waiting.status, waiting.error_code, waiting.error = Status.QUEUED, "", ""
    waiting.save()
    sweep()
    deliver_due()
    for notice in (waiting, _notice("later", to_address="Ines.Quist@Example.org")):
        notice.refresh_from_db()
        assert notice.status == Status.FAILED and "reaches nobody any more" in notice.error
    assert not mail.outbox
    with pytest.raises(Refused, match="reaches nobody any more"):
        retry_message(message=waiting)


def test_t35_a_notice_on_paper_stops_where_mail_came_back(cast, coordinator):
    rain(cast.other_site)
    sweep()
    Message.objects.update(status=Status.SENT, sent_at=noon())
    waiting = _notice(
        "paper", channel="letter", to_name="Odile Farrow", to_address="210 Yucca Lane"
    )
    coordinator.post(f"/care/reminders/{Reminder.objects.get().pk}/came-back/")
    deliver_due()
    waiting.refresh_from_db()
    assert waiting.status == Status.FAILED


def test_a_temporary_trouble_of_the_mail_server_is_no_bounce(cast):
    rain(cast.site)
    sweep()
    Message.objects.update(status=Status.FAILED, error_code="4.4.1")
    sweep()
    assert not ContactCheck.objects.exists()


def test_t38_of_a_shared_address_that_bounced_each_person_is_to_be_found(cast):
    partner = factory.make_person("Rob", "Amaro", email=OWNER)
    factory.make_agreement(
        [cast.site], signers=[(partner, "owner")], on=date(2025, 4, 1), reference="SECOND"
    )
    rain(cast.site)
    sweep()
    bounce(OWNER)
    sweep()
    assert {check.person for check in ContactCheck.objects.all()} == {cast.owner, partner}


def test_two_causes_of_one_kind_are_one_job_with_both_notes(cast):
    for note in ("moved in May", "phone is dead", "moved in May"):
        services.open_contact_check(
            person=cast.owner, site=cast.site, reason=CheckReason.NOT_MINE, note=note
        )
    assert ContactCheck.objects.get().note == "moved in May\nphone is dead"


def test_the_list_shows_the_job_and_settles_it(cast, coordinator):
    check = services.open_contact_check(
        person=cast.owner, site=cast.site, reason=CheckReason.NOT_MINE, note="sold in May"
    )
    said = coordinator.get("/care/contacts/").content.decode()
    assert "sold in May" in said and OWNER in said
    empty = coordinator.post(f"/care/contacts/{check.pk}/close/", {f"c{check.pk}-outcome": ""})
    assert empty.status_code == 422
    coordinator.post(f"/care/contacts/{check.pk}/close/", {f"c{check.pk}-outcome": "Baca owns it"})
    check.refresh_from_db()
    assert (check.outcome, check.closed_by) == ("Baca owns it", cast.coordinator)
    assert check.closed_at


def test_a_job_is_settled_once_and_not_without_a_word(cast):
    check = services.open_contact_check(person=cast.owner, site=None, reason=CheckReason.NO_CHANNEL)
    with pytest.raises(Refused, match="few words"):
        services.close_contact_check(check=check, outcome="  ")
    services.close_contact_check(check=check, outcome="called")
    with pytest.raises(Refused, match="settled already"):
        services.close_contact_check(check=check, outcome="called again")


def test_t35_when_not_mine_is_settled_the_next_responsible_person_is_told(cast):
    rain(cast.site)
    sweep()
    duty = open_duty(cast.site)
    services.record_answer(duty=duty, person=cast.owner, kind="not_mine", at=noon())
    cast.site.responsibilities.update(ends_on=factory.TODAY, ended_why="sold")
    factory.make_agreement(
        [cast.site], signers=[(cast.tenant, "tenant")], on=factory.TODAY, reference="NEXT"
    )
    services.close_contact_check(check=ContactCheck.objects.get(), outcome="sold to the tenant")
    sweep()
    assert len(letters_to("bram.okello@example.org")) == 1
    assert open_duty(cast.site).owed_by.person == cast.tenant


def test_a_settled_job_does_not_come_back_for_the_same_duty(cast):
    cast.owner.contact_points.update(dead_since=factory.TODAY, dead_why="bounced")
    rain(cast.site)
    sweep()
    check = ContactCheck.objects.get(reason=CheckReason.NO_CHANNEL)
    services.close_contact_check(check=check, outcome="Has no telephone; told at the door")
    sweep()
    assert not ContactCheck.objects.open().exists()


def test_a_job_of_somebody_gone_leads_to_the_agreement_where_it_ends(cast, coordinator):
    held = cast.site.responsibilities.get(person=cast.owner)
    services.open_contact_check(person=cast.owner, site=cast.site, reason=CheckReason.NOT_MINE)
    page = coordinator.get("/care/contacts/").content.decode()
    assert f'href="/agreements/{held.agreement_id}/"' in page
    held.ends_on = factory.TODAY
    held.save()
    page = coordinator.get("/care/contacts/").content.decode()
    assert f'href="/agreements/{held.agreement_id}/"' not in page
    assert "They are not responsible here any more" in page
