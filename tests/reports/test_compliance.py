"""The reviewer's table over the agency's own sites, and the proof for each."""

import csv
from datetime import date, timedelta
from io import StringIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from people.models import Membership
from stewardship.care.models import Reminder
from tests import factory
from tests.book import make_message

COMPLIANCE = reverse("reports:compliance")


def rows(response) -> dict[str, object]:
    return {row.record.code: row for row in response.context["table"].rows}


@pytest.fixture(autouse=True)
def _day(frozen_day):
    pass


def test_a_reviewer_sees_the_own_agencys_sites_and_no_other(cast, client_of):
    assert set(rows(client_of("reviewer").get(COMPLIANCE))) == {"OAK-1"}
    assert set(rows(client_of("other_reviewer").get(COMPLIANCE))) == {"ELM-2"}
    assert set(rows(client_of("coordinator").get(COMPLIANCE))) == {"ELM-2", "OAK-1"}


def test_no_filter_reaches_another_agencys_sites(cast, reviewer):
    response = reviewer.get(f"{COMPLIANCE}?agency={cast.other_agency.pk}")
    assert set(rows(response)) <= {"OAK-1"}
    assert set(rows(reviewer.get(f"{COMPLIANCE}?q=ELM"))) == set()


def test_a_reviewer_of_two_agencies_may_choose_between_them(cast, reviewer):
    Membership.objects.create(user=cast.reviewer, role="reviewer", agency=cast.other_agency)
    assert set(rows(reviewer.get(COMPLIANCE))) == {"OAK-1", "ELM-2"}
    response = reviewer.get(f"{COMPLIANCE}?agency={cast.other_agency.pk}")
    assert set(rows(response)) == {"ELM-2"}


def test_t29_sites_nobody_looked_at_are_unknown_and_stay_apart_from_bad_ones(cast, coordinator):
    factory.make_visit(cast.site, date(2026, 7, 1), findings=[("trap", "act")])
    bad = coordinator.get(COMPLIANCE + "?condition=act")
    unknown = coordinator.get(COMPLIANCE + "?condition=unknown")
    assert set(rows(bad)) == {"OAK-1"}
    assert set(rows(unknown)) == {"ELM-2"}


@pytest.mark.parametrize(("days_ago", "condition"), [(0, "new"), (119, "new"), (120, "unknown")])
def test_a_site_just_built_waits_for_its_first_look_and_is_not_unknown(
    cast, coordinator, days_ago, condition
):
    built_on = factory.TODAY - timedelta(days=days_ago)
    factory.make_built_site("NEW-1", owner=cast.owner, on=built_on)
    response = coordinator.get(f"{COMPLIANCE}?condition={condition}&q=NEW-1")
    row = rows(response)["NEW-1"]
    assert ("New, not looked at yet" in row.get_cell("condition")) == (condition == "new")
    assert response.context["tally"]["unknown"] == (condition == "unknown")


def test_how_long_a_look_counts_is_the_readers_choice(cast, coordinator):
    factory.make_visit(cast.site, date(2026, 6, 1))  # 44 days ago
    assert set(rows(coordinator.get(COMPLIANCE + "?days=44&condition=good"))) == {"OAK-1"}
    assert set(rows(coordinator.get(COMPLIANCE + "?days=43&condition=good"))) == set()


def test_a_number_of_days_that_is_none_is_told_at_its_field(cast, coordinator):
    response = coordinator.get(COMPLIANCE + "?days=many")
    assert response.status_code == 200
    assert "Enter a whole number, e.g. 12." in response.content.decode()


def test_the_table_says_evidence_agreement_open_and_late(cast, reviewer):
    factory.make_visit(cast.site, date(2026, 7, 1), evidence="inspected")
    factory.make_duty(cast.site, opened_on=date(2026, 7, 2), due_on=date(2026, 7, 7))
    factory.make_duty(cast.site, opened_on=date(2026, 7, 14), trigger="finding")
    row = rows(reviewer.get(COMPLIANCE))["OAK-1"]
    assert "In force" in row.get_cell("agreement_state")
    assert "Inspected" in row.get_cell("last_look_evidence")
    assert "known since Wed 1 Jul" in row.get_cell("last_look_on")
    assert "Found wanting" in row.get_cell("condition")
    assert (row.get_cell("open_duties"), row.get_cell("late_duties")) == (2, 1)
    assert set(rows(reviewer.get(COMPLIANCE + "?late=on"))) == {"OAK-1"}


def test_an_agreement_that_ran_out_no_longer_counts(cast, reviewer):
    agreement = cast.site.agreements.get()
    agreement.ends_on = date(2026, 7, 1)
    agreement.save()
    row = rows(reviewer.get(COMPLIANCE))["OAK-1"]
    assert "In force" not in row.get_cell("agreement_state")


def test_the_csv_has_iso_days_and_words(cast, reviewer):
    factory.make_visit(cast.site, date(2026, 7, 1), evidence="photo")
    response = reviewer.get(COMPLIANCE + "?_export=csv")
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    (row,) = csv.DictReader(StringIO(text))
    assert row["Last look"] == "2026-07-01"
    assert row["Known or unknown"] == "known"
    assert row["Evidence"] == "Photo"
    assert row["Agreement"] == "In force"


def test_more_sites_ask_no_more_queries(cast, coordinator):
    with CaptureQueriesContext(connection) as few:
        coordinator.get(COMPLIANCE)
    for n in range(10, 30):
        site = factory.make_built_site(f"FIR-{n}", owner=cast.owner)
        factory.make_visit(site, date(2026, 7, 1))
    with CaptureQueriesContext(connection) as many:
        coordinator.get(COMPLIANCE)
    assert len(many) == len(few)


def proof(code: str) -> str:
    return reverse("reports:proof", args=[code])


def test_t32_the_proof_shows_chain_documents_visits_and_duties(cast, reviewer):
    visit = factory.make_visit(
        cast.site,
        date(2026, 7, 1),
        done_by=cast.owner,
        evidence="photo",
        findings=[("trap", "watch")],
        minutes=25,
        note="call me at 505-555-0122",
    )
    factory.make_duty(cast.site, opened_on=date(2026, 7, 2), due_on=date(2026, 7, 7))
    page = reviewer.get(proof("OAK-1")).content.decode()
    agreement = cast.site.agreements.get()
    assert agreement.reference in page
    assert agreement.documents.get().sha256[:16] in page
    assert "Ines Quist" in page
    assert "responsible party" in page
    assert "Sediment trap" in page
    assert "Overdue" in page
    assert visit.note not in page


def test_t32_the_proof_tells_nobody_how_to_reach_a_resident(cast, reviewer):
    factory.make_visit(cast.site, date(2026, 7, 1), done_by=cast.tenant)
    page = reviewer.get(proof("OAK-1")).content.decode()
    for point in cast.owner.contact_points.all():
        if "@" in point.value:
            assert point.value not in page
    assert "bram.okello" not in page
    assert "505-555-0111" not in page


def test_t36_the_agency_reads_what_it_was_told_when_and_where_word_for_word(cast, reviewer):
    officer = factory.make_person(
        "Uli", "Marsh", email="streets.desk@example.org", agency=cast.agency
    )
    duty = factory.make_duty(cast.site)
    sent = factory.at(date(2026, 7, 14), "18:05")
    for key, person, address in (
        ("officer", officer, "streets.desk@example.org"),
        ("owner", cast.owner, "ines.quist@example.org"),
    ):
        message = make_message(
            key,
            status="sent",
            sent_at=sent,
            to_name=str(person),
            to_address=address,
            subject=f"Basin OAK-1 ({key})",
            text=f"Exactly this, to {key}.",
        )
        Reminder.objects.create(duty=duty, person=person, message=message, made_at=sent)
    page = reviewer.get(proof("OAK-1")).content.decode()
    for words in ("streets.desk@example.org", "Exactly this, to officer.", "6:05 p.m."):
        assert words in page
    assert "to owner" not in page
    assert "ines.quist@example.org" not in page


def test_from_the_proof_a_visit_opens_without_names_and_leads_back(cast, reviewer):
    visit = factory.make_visit(
        cast.site, date(2026, 7, 1), done_by=cast.tenant, note="call me at 505-555-0122"
    )
    there = reverse("care:visit", args=[visit.pk])
    assert there in reviewer.get(proof("OAK-1")).content.decode()
    page = reviewer.get(there).content.decode()
    assert "Bram Okello" not in page
    assert "505-555-0122" not in page
    assert proof("OAK-1") in page


def test_t12_the_chain_is_shown_as_of_a_day(cast, reviewer):
    held = cast.site.responsibilities.get()
    held.ends_on, held.ended_why = date(2026, 3, 1), "House sold"
    held.save()
    new = factory.make_person("Ada", "Birch")
    factory.make_agreement([cast.site], signers=[(new, "owner")], on=date(2026, 4, 1))

    def on(day: str) -> set[str]:
        context = reviewer.get(proof("OAK-1") + f"?on={day}").context["proof"]
        return {str(one.holder) for one in context.chain if one.pk in context.held_on}

    assert on("2026-02-28") == {"Ines Quist"}
    assert on("2026-03-15") == set()
    assert on("2026-04-01") == {"Ada Birch"}


def test_a_day_that_is_none_is_told_at_its_field(cast, reviewer):
    response = reviewer.get(proof("OAK-1") + "?on=yesterday")
    assert response.status_code == 200
    assert "Enter a day, e.g. 2026-07-14." in response.content.decode()


def test_another_agencys_site_is_not_there(cast, reviewer):
    assert reviewer.get(proof("ELM-2")).status_code == 404
    assert reviewer.get(proof("NONE-9")).status_code == 404


def test_the_proof_asks_a_fixed_number_of_queries(cast, reviewer):
    factory.make_visit(cast.site, date(2026, 6, 1), findings=[("trap", "good")])
    factory.make_duty(cast.site)
    with CaptureQueriesContext(connection) as few:
        reviewer.get(proof("OAK-1"))
    for n in range(1, 12):
        factory.make_visit(
            cast.site, date(2026, 6, n), findings=[("inlet", "good")], done_by=cast.tenant
        )
        factory.make_duty(cast.site, trigger="finding")
        factory.make_agreement(
            [cast.site],
            signers=[(cast.tenant, "tenant")],
            on=date(2026, 5, n),
            responsible=cast.other_owner if n == 1 else factory.make_person("P", str(n)),
        )
    with CaptureQueriesContext(connection) as many:
        reviewer.get(proof("OAK-1"))
    assert len(many) == len(few)
