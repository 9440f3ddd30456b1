"""Letters through somebody else: who handles a person's letters, who answers for an organisation, one envelope for a household."""

from datetime import date, timedelta

import pytest

from people.agents import end_agent, name_agent
from people.choices import Channel, Language
from people.models import Household, Organisation, OrganisationContact
from people.organisations import add_contact, end_contact
from stewardship.agreements.models import Party, Responsibility
from stewardship.care import services
from stewardship.care.choices import CheckReason, DutyState, NeedsPerson
from stewardship.care.models import Answer, ContactCheck, Duty, Reminder
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"
AGENT = "lena.moss@example.org"


@pytest.fixture
def agent(cast):
    """Lena handles the owner's letters, in Spanish."""
    person = factory.make_person("Lena", "Moss", email=AGENT, language=Language.ES)
    name_agent(principal=cast.owner, agent=person, scope="letters", starts_on=date(2026, 7, 1))
    return person


def path_in(letter: Message) -> str:
    return letter.context["sites"][0]["path"]


class TestAgents:
    def test_t38_letters_go_to_the_agents_address_in_their_language_for_the_owner(
        self, cast, agent
    ):
        rain(cast.site)
        sweep()
        (letter,) = letters_to(AGENT)
        assert (letter.to_name, letter.language) == ("Lena Moss", "es")
        assert "Ines Quist" in write(letter).text
        assert not letters_to(OWNER)

    def test_t38_what_the_agent_answers_counts_for_the_owner_and_says_who(
        self, cast, agent, client, coordinator
    ):
        rain(cast.site)
        sweep()
        path = path_in(letters_to(AGENT)[0])
        page = client.get(path)
        assert page.headers["Content-Language"] == "es" and "Ines Quist" in page.content.decode()
        client.post(
            path, {"answer": "done", "done-happened_on": "2026-07-15", "done-minutes": "30"}
        )
        answer = Answer.objects.get()
        assert (answer.person, answer.agent) == (cast.owner, agent)
        duty = Duty.objects.get(site=cast.site)
        assert duty.state == DutyState.MET and answer.visit.done_by == cast.owner
        page = coordinator.get(f"/care/duties/{duty.pk}/").content.decode()
        assert "Answered for them by Lena Moss" in page and "through Lena Moss" in page

    def test_t38_who_handles_letters_for_two_gets_one_letter_for_both(self, cast, agent):
        partner = factory.make_person("Rob", "Amaro", email="rob.amaro@example.org")
        factory.make_agreement(
            [cast.site], signers=[(partner, "owner")], on=date(2025, 4, 1), reference="SECOND"
        )
        name_agent(principal=partner, agent=agent, scope="letters", starts_on=date(2026, 7, 1))
        rain(cast.site)
        sweep()
        (letter,) = letters_to(AGENT)
        assert letter.to_name == "Lena Moss"
        said = write(letter).text
        assert "Ines Quist" in said and "Rob Amaro" in said
        assert {row.person for row in letter.reminders.all()} == {cast.owner, partner}

    def test_when_it_has_ended_letters_go_to_the_owner_again(self, cast, agent):
        end_agent(row=cast.owner.agents.get(), on=TUESDAY)
        rain(cast.site)
        sweep()
        assert len(letters_to(OWNER)) == 1 and not letters_to(AGENT)

    def test_an_agent_whose_mail_comes_back_is_the_one_to_be_found(self, cast, agent):
        rain(cast.site)
        sweep()
        Message.objects.filter(to_address=AGENT).update(
            status="failed", error="550 5.1.1 no such user", error_code="5.1.1"
        )
        sweep()
        check = ContactCheck.objects.get()
        assert (check.person, check.reason) == (agent, CheckReason.BOUNCED)

    def test_an_old_link_is_made_anew_for_the_agent(self, cast, agent, client, frozen_day):
        rain(cast.site)
        sweep()
        client.post("/care/new-link/", {"email": AGENT})
        fresh = letters_to(AGENT)[-1]
        assert fresh.template == "reminder-link" and fresh.to_name == "Lena Moss"
        client.post(path_in(fresh), {"answer": "cannot", "cannot-note": "away"})
        assert Answer.objects.get().agent == agent
        client.post("/care/new-link/", {"email": OWNER})
        assert not letters_to(OWNER)

    def test_the_page_names_and_ends_an_agent(self, cast, coordinator):
        address = f"/people/{cast.owner.pk}/agents/new/"
        typed = {
            "scope": "signs",
            "agent": cast.tenant.pk,
            "authority": "",
            "starts_on": "2026-07-15",
        }
        refused = coordinator.post(address, typed)
        assert refused.status_code == 422 and "by what right" in refused.content.decode()
        coordinator.post(address, typed | {"authority": "Power of attorney of 3 May"})
        row = cast.owner.agents.get()
        assert (
            "Power of attorney of 3 May"
            in coordinator.get(f"/people/{cast.owner.pk}/").content.decode()
        )
        coordinator.post(f"/people/agents/{row.pk}/end/")
        row.refresh_from_db()
        assert row.ends_on == factory.TODAY

    def test_who_only_signs_gets_no_letters(self, cast):
        name_agent(
            principal=cast.owner,
            agent=cast.tenant,
            scope="signs",
            authority="Power of attorney of 3 May",
            starts_on=date(2026, 7, 1),
        )
        rain(cast.site)
        sweep()
        assert len(letters_to(OWNER)) == 1

    def test_orders_that_cannot_be(self, cast, agent):
        def named(**changes):
            facts = {"principal": cast.owner, "agent": cast.tenant, "scope": "letters"}
            name_agent(**(facts | {"starts_on": factory.TODAY} | changes))

        with pytest.raises(Refused, match="somebody else than"):
            named(agent=cast.owner)
        with pytest.raises(Refused, match="already"):
            named()
        with pytest.raises(Refused, match="last day is before"):
            named(principal=cast.other_owner, ends_on=TUESDAY)
        with pytest.raises(Refused, match="before it began"):
            end_agent(row=cast.owner.agents.get(), on=date(2026, 6, 1))


class TestOneEnvelope:
    @pytest.fixture
    def pair(self, cast):
        """Two of one household, by letter."""
        home = Household.objects.create(name="Quist and Amaro", address="110 Saltbush Street")
        partner = factory.make_person("Rob", "Amaro", channel=Channel.LETTER, household=home)
        cast.owner.contact_points.all().delete()
        cast.owner.household, cast.owner.channel = home, Channel.LETTER
        cast.owner.save()
        factory.make_agreement(
            [cast.site], signers=[(partner, "owner")], on=date(2025, 4, 1), reference="SECOND"
        )
        return home

    def test_t38_without_the_setting_each_has_an_envelope(self, cast, pair):
        rain(cast.site)
        sweep()
        assert {one.to_name for one in Message.objects.all()} == {"Ines Quist", "Rob Amaro"}

    def test_t38_with_it_one_envelope_goes_to_the_household(self, cast, pair):
        pair.one_letter = True
        pair.save()
        rain(cast.site)
        sweep()
        sweep()
        (letter,) = Message.objects.all()
        assert letter.to_name == "Quist and Amaro"
        assert "Hello Ines and Rob," in write(letter).html
        assert letter.reminders.count() == 2

    def test_t38_one_of_them_alone_is_written_to_by_name(self, cast, pair):
        pair.one_letter = True
        pair.save()
        cast.site.responsibilities.filter(person=cast.owner).update(ends_on=TUESDAY)
        rain(cast.site)
        sweep()
        assert Message.objects.get().to_name == "Rob Amaro"

    def test_neighbours_at_one_address_are_two_households(self, cast, pair):
        pair.one_letter = True
        pair.save()
        upstairs = Household.objects.create(
            name="Farrow", address="110 Saltbush Street", one_letter=True
        )
        cast.other_owner.contact_points.all().delete()
        cast.other_owner.household = upstairs
        cast.other_owner.save()
        rain(cast.other_site, storm=rain(cast.site))
        sweep()
        assert {one.to_name for one in Message.objects.all()} == {"Quist and Amaro", "Odile Farrow"}


class TestOrganisations:
    @pytest.fixture
    def condo(self, cast):
        """The basin is the condominium's; its three unit owners are one party."""
        body = Organisation.objects.create(name="Mesa Court Owners", kind="condo")
        board = factory.make_person("Pilar", "Vega", email="pilar.vega@example.org")
        add_contact(organisation=body, person=board, role="signs", starts_on=date(2025, 4, 1))
        held = cast.site.responsibilities.get()
        Party.objects.filter(agreement=held.agreement, person=cast.owner).update(
            person=board, organisation=body
        )
        Responsibility.objects.filter(pk=held.pk).update(person=None, organisation=body)
        return body

    def test_t06_one_basin_of_three_owners_is_one_partys_and_its_contact_is_told(self, cast, condo):
        rain(cast.site)
        sweep()
        duty = open_duty(cast.site)
        assert duty.owed_by.holder == condo
        (reminder,) = Reminder.objects.all()
        assert reminder.person.full_name == "Pilar Vega"

    def test_t06_who_is_named_for_the_care_comes_before_who_signs(self, cast, condo):
        add_contact(organisation=condo, person=cast.tenant, role="care", starts_on=date(2026, 7, 1))
        rain(cast.site)
        sweep()
        (reminder,) = Reminder.objects.all()
        assert reminder.person == cast.tenant

    def test_t06_contacts_are_those_of_the_day(self, cast, condo):
        row = add_contact(
            organisation=condo, person=cast.tenant, role="care", starts_on=date(2026, 7, 1)
        )
        end_contact(contact=row, on=date(2026, 7, 15))
        rain(cast.site)
        sweep()
        (reminder,) = Reminder.objects.all()
        assert reminder.person.full_name == "Pilar Vega"

    def test_t06_what_its_contact_does_is_not_done_by_others(self, cast, condo):
        rain(cast.site)
        sweep()
        contact = condo.contacts.get().person
        duty = open_duty(cast.site)
        services.record_answer(duty=duty, person=contact, kind="done", at=noon())
        assert "Done by others" not in [event.why for event in duty.events.all()]

    def test_t06_duty_site_and_proof_name_the_organisation(
        self, cast, condo, coordinator, reviewer
    ):
        rain(cast.site)
        sweep()
        duty = open_duty(cast.site)
        for browser, address in (
            (coordinator, f"/care/duties/{duty.pk}/"),
            (coordinator, "/care/duties/"),
            (coordinator, "/sites/OAK-1/"),
            (coordinator, f"/people/organisations/{condo.pk}/"),
            (reviewer, "/reports/compliance/OAK-1/"),
        ):
            assert "Mesa Court Owners" in browser.get(address).content.decode(), address
        assert "pilar.vega" not in reviewer.get("/reports/compliance/OAK-1/").content.decode()

    def test_an_organisation_without_anybody_is_a_matter_for_the_list(self, cast, condo):
        OrganisationContact.objects.all().delete()
        rain(cast.site)
        sweep()
        sweep(factory.TODAY + timedelta(days=9))
        duty = open_duty(cast.site)
        assert duty.owed_by.holder == condo and duty.needs_person_why == NeedsPerson.NO_CHANNEL

    def test_t06_the_pages_write_down_an_organisation_and_its_contacts(self, cast, coordinator):
        typed = {"name": "Mesa Court Owners", "kind": "condo", "postal_address": "1 Mesa Court"}
        assert coordinator.post("/people/organisations/new/", typed).status_code == 302
        twice = coordinator.post(
            "/people/organisations/new/", typed | {"name": "mesa court owners"}
        )
        assert twice.status_code == 422 and "in the book already" in twice.content.decode()
        body = Organisation.objects.get()
        address = f"/people/organisations/{body.pk}/"
        contact = {"person": cast.tenant.pk, "role": "care", "starts_on": "2026-07-01"}
        assert coordinator.post(address, contact).status_code == 302
        assert coordinator.post(address, contact).status_code == 422
        assert "Bram Okello" in coordinator.get("/people/organisations/").content.decode()
        coordinator.post(f"/people/organisations/contacts/{body.contacts.get().pk}/end/")
        assert body.contacts.get().ends_on == factory.TODAY
