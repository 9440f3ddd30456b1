"""A condominium is one party: somebody signs for it, and it holds the basin."""

from datetime import date

import pytest

from people.organisations import add_contact, write_down_organisation
from stewardship.agreements import services
from stewardship.agreements.models import Responsibility
from tests import factory
from tests.agreements.conftest import OFFERED_ON

pytestmark = pytest.mark.usefixtures("one_print")


@pytest.fixture
def condo(folk):
    body = write_down_organisation(name="Mesa Court Owners", kind="condo")
    add_contact(organisation=body, person=folk.owner, role="signs", starts_on=date(2026, 1, 1))
    return body


def sign_for(folk, body, *others):
    """Signed by the owner for the organisation, by whoever else owns, and by the program."""
    agreement = services.draft_agreement(instrument="care_agreement", sites=[folk.site])
    services.add_party(agreement=agreement, person=folk.owner, capacity="owner", organisation=body)
    services.add_party(agreement=agreement, person=folk.program, capacity="program")
    for person in others:
        services.add_party(agreement=agreement, person=person, capacity="owner")
    document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
    for party in agreement.parties.all():
        services.record_signature(
            party=party,
            document=document,
            signed_on=OFFERED_ON,
            typed_name=party.person.full_name,
            original_kept_at="Binder 3",
        )
    agreement.refresh_from_db()
    return agreement


def test_t06_the_organisation_is_responsible_not_whoever_signs_for_it(folk, condo):
    agreement = sign_for(folk, condo)
    (row,) = Responsibility.objects.filter(site=folk.site, role="does")
    assert (row.holder, row.person, row.agreement) == (condo, None, agreement)


def test_t06_one_owner_may_hold_several_basins(folk, condo):
    folk.more = [factory.make_site(f"OAK-{number}") for number in range(8, 12)]
    agreement = sign_for(folk, condo)
    for site in folk.more:
        factory.make_basin(site, plants=False)
    second = services.draft_agreement(instrument="care_agreement", sites=folk.more)
    services.add_party(agreement=second, person=folk.owner, capacity="owner", organisation=condo)
    services.add_party(agreement=second, person=folk.program, capacity="program")
    document = services.offer_agreement(agreement=second, on=OFFERED_ON)
    for party in second.parties.all():
        services.record_signature(
            party=party,
            document=document,
            signed_on=OFFERED_ON,
            typed_name=party.person.full_name,
            original_kept_at="Binder 3",
        )
    held = Responsibility.objects.filter(organisation=condo, role="does")
    assert held.count() == 5 and agreement.pk != second.pk


def test_t06_the_site_page_links_to_the_organisation(folk, condo, client):
    sign_for(folk, condo)
    client.force_login(
        factory.make_user("coordinator"), backend="django.contrib.auth.backends.ModelBackend"
    )
    page = client.get(f"/sites/{folk.site.code}/").content.decode()
    assert f'href="/people/organisations/{condo.pk}/"' in page and "Mesa Court Owners" in page
