"""An agency is reorganised: who the contact was stays on record, and the basins follow the agency that has them now."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from people.models import OfficeChange, Person
from sites.models import Site
from stewardship.agreements.models import Party, Responsibility
from stewardship.agreements.services.offices import change_office, office_people
from stewardship.common.errors import Refused
from tests import factory

pytestmark = pytest.mark.usefixtures("frozen_day")

BEFORE, ON = date(2026, 6, 30), date(2026, 7, 1)


@pytest.fixture
def office(cast):
    """Nia and Pat look after the agency's own basin; Nia signed for it."""
    return [
        factory.make_person(
            given,
            family,
            email=f"{given.casefold()}@example.org",
            agency=cast.agency,
            agency_office="Maintenance",
        )
        for given, family in (("Nia", "Holt"), ("Pat", "Reyes"))
    ]


@pytest.fixture
def memorandum(cast, office):
    site = factory.make_site("ROW-5", agency=cast.agency)
    factory.make_basin(site)
    return factory.make_agreement(
        [site],
        signers=[(office[0], "agency_officer")],
        agency=cast.agency,
        responsible=cast.agency,
        on=date(2025, 4, 1),
        instrument="memorandum",
        reference="MOU-1",
    )


def change(cast, **changes) -> OfficeChange:
    facts = {
        "agency": cast.agency,
        "office": "Maintenance",
        "on": ON,
        "new_agency": cast.agency,
        "new_office": "Green Streets",
        "why": "Reorganised",
    }
    return change_office(**(facts | changes))


def names(agency, on) -> list[str]:
    return [f"{person} {office}" for person, office in office_people(agency, on=on)]


def test_t07_the_office_gets_another_name_and_who_it_was_stays_on_record(cast, office):
    change(cast)
    assert names(cast.agency, BEFORE) == ["Nia Holt Maintenance", "Pat Reyes Maintenance"]
    assert names(cast.agency, ON) == ["Nia Holt Green Streets", "Pat Reyes Green Streets"]


def test_t07_who_does_not_go_along_has_no_office_any_more(cast, office):
    change(cast, leaving=[office[1]])
    assert names(cast.agency, ON) == ["Nia Holt Green Streets"]
    assert names(cast.agency, BEFORE) == ["Nia Holt Maintenance", "Pat Reyes Maintenance"]
    assert Person.objects.get(pk=office[1].pk).agency == cast.agency


def test_t07_two_changes_in_a_row_are_looked_through(cast, office):
    change(cast, on=date(2026, 5, 1))
    change(
        cast,
        on=date(2026, 7, 10),
        office="Green Streets",
        new_agency=cast.other_agency,
        new_office="Gardens",
    )
    assert names(cast.agency, date(2026, 4, 30)) == [
        "Nia Holt Maintenance",
        "Pat Reyes Maintenance",
    ]
    assert names(cast.agency, date(2026, 6, 1))[0] == "Nia Holt Green Streets"
    assert names(cast.agency, date(2026, 7, 10)) == []
    assert names(cast.other_agency, date(2026, 7, 10))[0] == "Nia Holt Gardens"
    assert names(cast.other_agency, date(2026, 6, 1)) == []


def test_t07_with_another_agency_sites_and_duties_follow_without_a_gap(cast, office, memorandum):
    change(cast, new_agency=cast.other_agency, new_office="Gardens", takes_sites=True)
    site = memorandum.sites.get()
    assert site.agency == cast.other_agency
    for day, agency in ((BEFORE, cast.agency), (ON, cast.other_agency)):
        (row,) = Responsibility.objects.as_of(day).filter(site=site, role="does")
        assert (row.agency, row.agreement) == (agency, memorandum)
    assert "Parks Department in the place of Streets Department" in site.events.last().why
    # whoever signed stays as signed
    assert Party.objects.get(agreement=memorandum).agency == cast.agency


def test_t07_the_reviewers_access_follows_the_agency_of_the_site(
    cast, office, memorandum, client_of
):
    address = "/reports/compliance/OAK-1/"
    assert client_of("reviewer").get(address).status_code == 200
    assert client_of("other_reviewer").get(address).status_code == 404
    change(cast, new_agency=cast.other_agency, new_office="Gardens", takes_sites=True)
    assert client_of("reviewer").get(address).status_code == 404
    assert client_of("other_reviewer").get(address).status_code == 200


def test_without_asking_for_it_the_sites_stay(cast, office, memorandum):
    change(cast, new_agency=cast.other_agency, new_office="Gardens")
    assert Site.objects.get(code="ROW-5").agency == cast.agency
    (row,) = Responsibility.objects.as_of(ON).filter(agreement=memorandum)
    assert row.agency == cast.agency


def test_where_the_new_agency_was_there_already_nothing_stands_twice(cast, office, memorandum):
    site = memorandum.sites.get()
    Responsibility.objects.create(
        site=site, role="does", agency=cast.other_agency, agreement=memorandum, starts_on=BEFORE
    )
    change(cast, new_agency=cast.other_agency, new_office="Gardens", takes_sites=True)
    assert Responsibility.objects.as_of(ON).filter(site=site, role="does").count() == 1


def test_orders_that_cannot_be(cast, office):
    with pytest.raises(Refused, match="yet to come"):
        change(cast, on=date(2026, 7, 16))
    with pytest.raises(Refused, match="same office"):
        change(cast, new_office="Maintenance")
    with pytest.raises(Refused, match="name"):
        change(cast, new_office=" ")
    with pytest.raises(Refused, match="Nobody has that office"):
        change(cast, office="Permits")
    with pytest.raises(Refused, match="stay with"):
        change(cast, takes_sites=True)
    change(cast)
    with pytest.raises(Refused, match="written down already"):
        change(cast)


def test_t07_the_page_writes_it_down_and_answers_who_it_was(cast, office, coordinator):
    typed = {
        "office": "0",
        "on": "2026-07-01",
        "new_agency": cast.other_agency.pk,
        "new_office": "Gardens",
        "leaving": [office[1].pk],
        "takes_sites": "on",
        "why": "Reorganised",
    }
    assert (
        "Maintenance, Streets Department"
        in coordinator.get("/people/offices/change/").content.decode()
    )
    early = coordinator.post("/people/offices/change/", typed | {"on": "2027-01-01"})
    assert early.status_code == 422 and "yet to come" in early.content.decode()
    assert coordinator.post("/people/offices/change/", typed).status_code == 302
    page = coordinator.get("/people/offices/?on=2026-06-30").content.decode()
    assert "Went along: Nia Holt." in page and "Did not: Pat Reyes." in page
    assert page.index("Pat Reyes") < page.index("How they changed")


def test_the_database_keeps_changes_of_offices_whole(cast):
    facts = {
        "agency": cast.agency,
        "office": "Maintenance",
        "on": ON,
        "new_agency": cast.agency,
        "new_office": "Green Streets",
    }
    OfficeChange.objects.create(**facts)
    OfficeChange.objects.create(**facts | {"on": ON + timedelta(days=1)})
    for changes in ({}, {"office": "", "on": BEFORE}, {"new_office": "", "on": BEFORE}):
        with pytest.raises(IntegrityError), transaction.atomic():
            OfficeChange.objects.create(**facts | changes)
