"""T03: what was built differs from the drawing. A paper on the works as built, and who has seen it."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from sites.services import update_basin
from stewardship.agreements import services
from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.models import Acknowledgement
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, in_force

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

BUILT = date(2026, 7, 8)


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def agreement(folk):
    made = in_force(folk)
    services.mark_built(site=folk.site, on=BUILT)
    return made


@pytest.fixture
def longer(folk, agreement):
    """The basin was built longer than it was drawn."""
    basin = folk.site.basins.get()
    update_basin(basin=basin, top_area_m2=basin.top_area_m2 + 1)
    return agreement


def test_t03_as_drawn_there_is_nothing_to_say(agreement, coordinator):
    assert not services.differs(agreement)
    assert "not what was signed" not in text_of(coordinator.get(f"/agreements/{agreement.pk}/"))


def test_t03_another_measure_is_noticed_written_down_and_shown_to_everybody(
    folk, longer, coordinator
):
    page = text_of(coordinator.get(f"/agreements/{longer.pk}/"))
    assert "What stands there is not what was signed." in page
    response = coordinator.post(
        f"/agreements/{longer.pk}/as-built/",
        {"on": "2026-07-14", "what": "The basin is 2 ft longer"},
        follow=True,
    )
    document = longer.documents.get(kind=DocumentKind.AS_BUILT)
    page = text_of(response)
    assert document.file_name in page
    assert "has not seen it" in page
    assert "not what was signed" not in page
    assert "Built otherwise than drawn: The basin is 2 ft longer" in page
    party = longer.parties.get(person=folk.owner)
    coordinator.post(
        f"/agreements/{longer.pk}/as-built/{party.pk}/",
        {"on": "2026-07-15", "how": "Shown at the basin"},
    )
    as_built = services.as_built_of(longer)
    assert [one.party for one in as_built.seen] == [party]
    assert as_built.unseen == []
    # what was signed is untouched
    assert longer.documents.filter(kind=DocumentKind.TO_SIGN).count() == 1


def test_t03_a_later_measure_is_noticed_again_and_has_to_be_seen_again(folk, longer):
    first = services.write_as_built(agreement=longer, on=factory.TODAY, what="Longer")
    party = longer.parties.get(person=folk.owner)
    services.acknowledge(party=party, document=first, on=factory.TODAY, how="At the kerb")
    basin = folk.site.basins.get()
    update_basin(basin=basin, top_area_m2=basin.top_area_m2 + 1)
    assert services.differs(longer)
    second = services.write_as_built(agreement=longer, on=factory.TODAY, what="Longer still")
    assert second.version == 2
    assert services.as_built_of(longer).unseen == [party]
    with pytest.raises(Refused, match="not the newest"):
        services.acknowledge(party=party, document=first, on=factory.TODAY, how="x")


class TestRefused:
    def test_nothing_built_or_nothing_said(self, folk):
        made = in_force(folk)
        with pytest.raises(Refused, match="Nothing is built yet"):
            services.write_as_built(agreement=made, on=factory.TODAY, what="x")
        with pytest.raises(Refused, match="Say why"):
            services.write_as_built(agreement=made, on=factory.TODAY, what=" ")

    def test_days_that_cannot_be(self, folk, longer):
        document = services.write_as_built(agreement=longer, on=factory.TODAY, what="Longer")
        party = longer.parties.get(person=folk.owner)
        for day, words in (
            (factory.TODAY + timedelta(days=1), "yet to come"),
            (factory.TODAY - timedelta(days=1), "cannot have been seen before"),
        ):
            with pytest.raises(Refused, match=words):
                services.acknowledge(party=party, document=document, on=day, how="x")

    def test_seen_once(self, folk, longer):
        document = services.write_as_built(agreement=longer, on=factory.TODAY, what="Longer")
        party = longer.parties.get(person=folk.owner)
        facts = {"party": party, "document": document, "on": factory.TODAY, "how": "x"}
        services.acknowledge(**facts)
        with pytest.raises(Refused, match="has seen it already"):
            services.acknowledge(**facts)
        facts["how"] = " "
        with pytest.raises(Refused, match="Say how"):
            services.acknowledge(**facts)


def test_the_constraint_on_acknowledgements_both_ways(folk, longer):
    document = services.write_as_built(agreement=longer, on=factory.TODAY, what="Longer")
    owner, program = longer.parties.order_by("pk")
    for party in (owner, program):
        Acknowledgement.objects.create(
            party=party, document=document, on=factory.TODAY, how="Shown"
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        Acknowledgement.objects.create(
            party=owner, document=document, on=OFFERED_ON, how="Shown again"
        )
