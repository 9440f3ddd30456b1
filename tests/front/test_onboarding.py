"""Taking on a household, from its name to a document, through the pages. Resumable, and nothing typed is lost."""

import pytest

from people.models import Person
from sites.choices import Stage
from sites.models import Site
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, DutyGroup
from stewardship.agreements.models import Agreement, Document
from tests import factory
from tests.front.walk import BASIN, LANDLORD, WHERE, WHO, at, begin, faults, text_of, up_to_works

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_the_whole_path_from_first_talk_to_a_built_site(coordinator, cast):
    response = coordinator.post("/onboard/", WHO)
    agreement = Agreement.objects.order_by("-pk").first()
    assert response.url == at(agreement, "where")
    response = coordinator.post(at(agreement, "where"), WHERE)
    assert response.url == at(agreement, "works")
    response = coordinator.post(at(agreement, "works"), BASIN, follow=True)
    page = text_of(response)
    assert "Basin A is saved." in page
    assert "Holds" in page and "of rain in an hour" in page
    response = coordinator.post(at(agreement, "works"), {"do": "on"})
    assert response.url == at(agreement, "duties")
    response = coordinator.post(at(agreement, "duties"), dict.fromkeys(DutyGroup.values, "on"))
    assert response.url == at(agreement, "agreement")
    page = text_of(coordinator.get(response.url))
    assert "the program’s signature: nobody is named yet" in page
    coordinator.post(at(agreement, "agreement"), {"do": "me"})
    response = coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-07-15"})
    assert response.url == f"/agreements/{agreement.pk}/signing/"
    document = Document.objects.get(agreement=agreement)
    for party in agreement.parties.all():
        coordinator.post(
            f"/agreements/parties/{party.pk}/sign/",
            {
                "document": document.pk,
                "signed_on": "2026-07-15",
                "typed_name": str(party.person),
                "original_kept_at": "Binder",
            },
        )
    agreement.refresh_from_db()
    assert agreement.state == AgreementState.IN_FORCE
    coordinator.post("/sites/YUC-3/built/", {"on": "2026-07-15"})
    site = Site.objects.get(code="YUC-3")
    assert site.stage == Stage.BUILT
    assert str(site.responsibilities.get().holder) == "Marit Dueñas"
    assert {p.capacity: str(p.person) for p in agreement.parties.all()} == {
        "owner": "Marit Dueñas",
        "program": "Rosa Lind",
    }


class TestGoingOnLater:
    def test_it_resumes_at_the_first_step_that_is_not_done(self, coordinator):
        agreement = begin(coordinator)
        resume = f"/onboard/{agreement.reference}/"
        assert coordinator.get(resume).url == at(agreement, "where")
        coordinator.post(at(agreement, "where"), WHERE)
        assert coordinator.get(resume).url == at(agreement, "works")
        coordinator.post(at(agreement, "works"), BASIN)
        assert coordinator.get(resume).url == at(agreement, "duties")
        coordinator.post(at(agreement, "duties"), dict.fromkeys(DutyGroup.values, "on"))
        assert coordinator.get(resume).url == at(agreement, "agreement")

    def test_save_for_later_leads_to_the_list_where_it_waits(self, coordinator):
        response = coordinator.post("/onboard/", WHO | {"then": "later"}, follow=True)
        page = text_of(response)
        assert "Begun and not finished" in page
        assert "Marit Dueñas" in page

    def test_every_step_can_be_looked_at_without_changing_anything(self, coordinator):
        agreement = up_to_works(coordinator)
        before = agreement.events.count()
        for step in ("who", "where", "works", "duties", "agreement"):
            assert coordinator.get(at(agreement, step)).status_code == 200, step
        assert agreement.events.count() == before

    def test_what_somebody_has_signed_is_not_changed_through_the_steps(self, coordinator):
        agreement = up_to_works(coordinator)
        coordinator.post(at(agreement, "agreement"), {"do": "me"})
        coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-07-15"})
        party = agreement.parties.get(capacity="owner")
        services.record_signature(
            party=party,
            document=Document.objects.get(agreement=agreement),
            signed_on=factory.TODAY,
            typed_name="Marit Dueñas",
            original_kept_at="Binder",
        )
        response = coordinator.post(at(agreement, "who"), WHO | LANDLORD)
        assert "Somebody has signed" in faults(response)["__all__"]
        assert {p.capacity for p in agreement.parties.all()} == {"owner", "program"}
        assert not Person.objects.filter(given_name="Iris").exists()

    def test_one_in_force_shows_what_became_of_it(self, coordinator, cast):
        agreement = Agreement.objects.get(sites=cast.site)
        response = coordinator.get(at(agreement, "who"))
        assert response.url == f"/agreements/{agreement.pk}/"


@pytest.mark.parametrize("role", ["stranger", "reviewer", "volunteer", "reader"])
def test_nobody_but_a_coordinator_finds_the_path(client_of, role):
    assert client_of(role).get("/onboard/").status_code == 404
    assert client_of(role).post("/onboard/", WHO).status_code == 404
