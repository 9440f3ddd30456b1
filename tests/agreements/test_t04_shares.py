"""T04: one site, two promises. Any of them may do it, or each cares for a part; both are told the same."""

import pytest
from django.db import IntegrityError, transaction

from stewardship.agreements import services
from stewardship.agreements.choices import Sharing
from stewardship.agreements.models import Agreement, Responsibility
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, drafted

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def draft(folk):
    """A corner lot: two owners, two streets."""
    made = drafted(folk, ("owner", "owner"), ("program", "program"))
    services.add_party(agreement=made, person=folk.landlord, capacity="owner")
    return made


def signed(draft):
    document = services.offer_agreement(agreement=draft, on=OFFERED_ON)
    for party in draft.parties.all():
        services.record_signature(
            party=party,
            document=document,
            signed_on=OFFERED_ON,
            typed_name=str(party.person),
            original_kept_at="Binder",
        )
    return draft


def test_t04_together_each_owes_all_of_it(folk, draft):
    signed(draft)
    rows = Responsibility.objects.as_of(OFFERED_ON).filter(site=folk.site, role="does")
    assert [(row.person, row.part) for row in rows] == [(folk.owner, ""), (folk.landlord, "")]


def test_t04_in_parts_each_row_says_which_and_the_site_page_tells_both(folk, draft, coordinator):
    owner, other = draft.parties.filter(capacity="owner").order_by("pk")
    response = coordinator.post(
        f"/agreements/{draft.pk}/terms/",
        {
            "cure_days": "45",
            "notices_by": "certified",
            "sharing": "parts",
            f"part_{owner.pk}": "the strip on Saltbush Street",
            f"part_{other.pk}": "the strip on Yucca Lane",
        },
        follow=True,
    )
    page = text_of(response)
    assert "Ines Quist: the strip on Saltbush Street" in page
    assert "45 days" in page
    assert "by certified mail" in page
    signed(draft)
    rows = Responsibility.objects.as_of(OFFERED_ON).filter(site=folk.site, role="does")
    assert [(row.person, row.part) for row in rows] == [
        (folk.owner, "the strip on Saltbush Street"),
        (folk.landlord, "the strip on Yucca Lane"),
    ]
    page = text_of(coordinator.get("/sites/OAK-7/"))
    assert "the strip on Saltbush Street" in page
    assert "the strip on Yucca Lane" in page
    # once signed, the terms stand
    response = coordinator.post(
        f"/agreements/{draft.pk}/terms/", {"sharing": "together", "cure_days": ""}
    )
    assert response.status_code == 422
    draft.refresh_from_db()
    assert draft.sharing == Sharing.PARTS


def test_t04_parts_that_are_not_said_are_asked_for_and_nothing_typed_is_lost(
    folk, draft, coordinator
):
    owner, other = draft.parties.filter(capacity="owner").order_by("pk")
    response = coordinator.post(
        f"/agreements/{draft.pk}/terms/",
        {"sharing": "parts", f"part_{owner.pk}": "the strip on Saltbush Street"},
    )
    page = text_of(response)
    assert "Say which part is cared for by Odile Farrow." in page
    assert "the strip on Saltbush Street" in page
    owner.refresh_from_db()
    assert owner.part == ""


def test_parts_need_two(folk):
    alone = drafted(folk, ("owner", "owner"), ("program", "program"))
    with pytest.raises(Refused, match="parts need at least two"):
        services.change_draft(agreement=alone, terms={"sharing": "parts"})


def test_the_buyer_takes_over_the_sellers_part(folk):
    draft = services.draft_agreement(instrument="covenant", sites=[folk.site])
    for who, capacity in (("owner", "owner"), ("landlord", "owner"), ("officer", "agency_officer")):
        services.add_party(agreement=draft, person=getattr(folk, who), capacity=capacity)
    parts = {p: f"part of {p.person}" for p in draft.parties.filter(capacity="owner")}
    services.change_draft(agreement=draft, terms={"sharing": "parts"}, parts=parts)
    signed(draft)
    services.record_sale(agreement=draft, on=factory.TODAY, buyer=folk.tenant)
    row = Responsibility.objects.as_of(factory.TODAY).get(site=folk.site, role="does")
    assert (row.person, row.part) == (folk.tenant, "part of Ines Quist; part of Odile Farrow")


class TestTheConstraintsBothWays:
    def test_sharing_is_one_of_two(self, draft):
        rows = Agreement.objects.filter(pk=draft.pk)
        for value in Sharing.values:
            rows.update(sharing=value)
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(sharing="halves")

    def test_notices_go_a_known_way_or_as_usual(self, draft):
        rows = Agreement.objects.filter(pk=draft.pk)
        for value in ("", "mail", "certified", "courier", "email"):
            rows.update(notices_by=value)
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(notices_by="drum")

    def test_an_agreement_takes_the_place_of_another_never_its_own(self, folk, draft):
        other = services.draft_agreement(instrument="covenant")
        rows = Agreement.objects.filter(pk=draft.pk)
        rows.update(supersedes=other)
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(supersedes=draft)
