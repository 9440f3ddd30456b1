"""Offers that run out, and works that were changed after the document was made."""

from datetime import date, timedelta

import pytest
import time_machine

from stewardship.agreements import services
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import (
    in_force,
    offered,
    on_screen,
    sign,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


class TestAnOfferThatRunsOut:
    def test_it_is_signed_up_to_its_last_day_and_no_longer(self, folk):
        agreement, document = offered(folk)
        services.let_stand(agreement=agreement, until=factory.TODAY)
        on_screen(agreement, document, "owner")
        with (
            time_machine.travel(factory.at(factory.TODAY + timedelta(days=1)), tick=False),
            pytest.raises(Refused, match="The offer stood until Wed 15 Jul. Let it stand longer"),
        ):
            on_screen(agreement, document, "program")

    def test_paper_signed_in_time_is_recorded_later(self, folk):
        agreement, document = offered(folk)
        services.let_stand(agreement=agreement, until=factory.TODAY)
        with time_machine.travel(factory.at(factory.TODAY + timedelta(days=9)), tick=False):
            sign(agreement, document, "owner", on=factory.TODAY)
            with pytest.raises(Refused, match="The offer stood until"):
                sign(agreement, document, "program", on=factory.TODAY + timedelta(days=1))

    def test_it_is_let_stand_longer_or_made_anew(self, folk):
        agreement, document = offered(folk)
        services.let_stand(agreement=agreement, until=factory.TODAY)
        later = factory.TODAY + timedelta(days=3)
        with time_machine.travel(factory.at(later), tick=False):
            services.let_stand(agreement=agreement, until=later)
            on_screen(agreement, document, "owner")
        other, _ = offered(folk)
        services.let_stand(agreement=other, until=factory.TODAY)
        with time_machine.travel(factory.at(later), tick=False):
            document = services.offer_agreement(agreement=other, on=later)
            other.refresh_from_db()
            assert other.offer_until is None
            on_screen(other, document, "owner")

    def test_a_day_that_has_passed_is_refused(self, folk):
        agreement, _ = offered(folk)
        with pytest.raises(Refused, match="That day has passed"):
            services.let_stand(agreement=agreement, until=date(2026, 7, 1))
        with pytest.raises(Refused, match="is not offered"):
            services.let_stand(agreement=in_force(folk), until=None)


class TestWorksThatWereChanged:
    def test_a_corrected_basin_needs_a_new_document(self, folk):
        agreement, document = offered(folk)
        basin = folk.site.basins.get()
        basin.depth_m += 0.1
        basin.save()
        for how in (sign, on_screen):
            with pytest.raises(
                Refused,
                match="What will be built was changed since this document was made; offer a new one",
            ):
                how(agreement, document, "owner")
        document = services.offer_agreement(agreement=agreement, on=factory.TODAY)
        on_screen(agreement, document, "owner")

    def test_one_that_was_put_back_does_not(self, folk):
        agreement, document = offered(folk)
        basin = folk.site.basins.get()
        was, basin.depth_m = basin.depth_m, 0.9
        basin.save()
        basin.depth_m = was
        basin.save()
        on_screen(agreement, document, "owner")

    def test_after_a_signature_the_way_on_is_another_agreement(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        factory.make_basin(folk.site, "B", plants=False)
        with pytest.raises(Refused, match="end the agreement and write a new one"):
            sign(agreement, document, "program")

    def test_what_does_not_stand_in_the_document_may_change(self, folk):
        agreement, document = offered(folk)
        folk.site.collection_weekday = 2
        folk.site.save()
        on_screen(agreement, document, "owner")
