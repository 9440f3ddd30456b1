"""Which site is perhaps in the book already; two sites that are one frontage."""

from datetime import date

import pytest

from people.merging import undo_merge
from people.models import Household, Merge
from sites.alike import CLOSE_M, sites_alike
from sites.merging import merge_sites, undo_site_merge
from sites.models import Site
from stewardship.common.addresses import AddressWhy
from stewardship.common.errors import Refused
from tests import factory

pytestmark = pytest.mark.django_db

#: [degrees] of latitude in a metre on a sphere with the mean radius of the earth, 6 371 008.8 m (IUGG).
DEGREE_M = 1 / 111_195.08


def place(code: str, address: str, *, north_m: float = 0.0) -> Site:
    return factory.make_site(code, address=address, lat=factory.LAT + north_m * DEGREE_M)


class TestAlike:
    def test_by_the_address_in_another_spelling(self):
        oak = place("OAK-1", "110 Saltbush Street")
        place("OAK-2", "112 Saltbush Street", north_m=60)
        (found,) = sites_alike(address="110 saltbush st.")
        assert (found.site, found.why, found.off_m) == (oak, AddressWhy.SAME, None)

    def test_by_lying_close_even_without_an_address_in_common(self):
        near = place("OAK-1", "110 Saltbush Street", north_m=CLOSE_M - 1)
        place("OAK-2", "210 Yucca Lane", north_m=CLOSE_M + 1)
        (found,) = sites_alike(address="9 Corner Row", lat=factory.LAT, lon=factory.LON)
        assert (found.site, found.why) == (near, None)
        assert found.off_m == pytest.approx(CLOSE_M - 1, abs=0.1)

    def test_the_page_offers_sites_and_households_there(self, coordinator):
        place("SAL-9", "990 Saltbush Street")
        home = Household.objects.create(name="Rea", address="990 Saltbush St")
        page = coordinator.get("/sites/alike/", {"address": "990 Saltbush"}).content.decode()
        assert 'data-alike-key="SAL-9"' in page
        assert f'href="/people/households/{home.pk}/"' in page
        for asked in (
            {"address": "990 Saltbush", "but": "SAL-9", "but_household": home.pk},
            {"lat": "95", "lon": "x"},
            {},
        ):
            assert coordinator.get("/sites/alike/", asked).content.decode().strip() == ""

    def test_the_form_asks_once_and_a_tick_saves(self, coordinator):
        place("SAL-9", "990 Saltbush Street")
        form = {
            "code": "SAL-10",
            "street": "Saltbush Street",
            "address": "990 Saltbush St",
            "source_class": "quiet",
        }
        response = coordinator.post("/sites/new/", form)
        words = response.context["form"].errors["another_site"][0]
        assert words.startswith(
            "Perhaps in the book already: SAL-9 · 990 Saltbush Street (the same address)."
        )
        coordinator.post("/sites/new/", form | {"another_site": "on"})
        assert Site.objects.filter(code="SAL-10").exists()
        # correcting something else about it does not ask again
        response = coordinator.post("/sites/SAL-10/edit/", form | {"source_class": "busy"})
        assert response.status_code == 302


class TestMerging:
    def test_rows_move_facts_are_filled_in_and_all_of_it_goes_back(self, frozen_day):
        kept = factory.make_site("OAK-1", lat=None, lon=None)
        gone = factory.make_site("OAK-2", cart_litres=240)
        basin = factory.make_basin(gone)
        done = merge_sites(kept=kept, gone=gone, by=None)
        kept.refresh_from_db()
        gone.refresh_from_db()
        basin.refresh_from_db()
        assert basin.site == kept
        assert (kept.lat, kept.cart_litres) == (factory.LAT, 240)
        assert (gone.stage, gone.merged_into, gone.retired_on) == ("retired", kept, factory.TODAY)
        assert gone not in Site.objects.known()
        assert "The same site as OAK-1" in [event.why for event in gone.events.all()]
        undo_site_merge(merge=done.merge, by=None)
        for row in (kept, gone, basin):
            row.refresh_from_db()
        assert basin.site == gone
        assert (kept.lat, kept.cart_litres) == (None, None)
        assert (gone.stage, gone.merged_into, gone.retired_on) == ("proposed", None, None)

    def test_a_basin_of_the_same_letter_stays_and_is_named(self, frozen_day):
        kept, gone = factory.make_site("OAK-1"), factory.make_site("OAK-2")
        factory.make_basin(kept, "A")
        clash, free = factory.make_basin(gone, "A"), factory.make_basin(gone, "B")
        done = merge_sites(kept=kept, gone=gone, by=None)
        assert [row for _model, row in done.stayed] == [clash]
        free.refresh_from_db()
        assert free.site == kept

    def test_what_was_promised_or_built_cannot_become_another_sites(self, cast, frozen_day):
        spare = factory.make_site("OAK-9")
        with pytest.raises(Refused, match="OAK-1 is built"):
            merge_sites(kept=spare, gone=cast.site, by=None)
        merge_sites(kept=cast.site, gone=spare, by=None)
        with pytest.raises(Refused, match="a second entry of OAK-1"):
            merge_sites(kept=cast.other_site, gone=spare, by=None)

    def test_a_retired_site_stays_for_nobody(self, frozen_day):
        old = factory.make_site("OLD-1", stage="retired", retired_on=date(2026, 1, 1))
        with pytest.raises(Refused, match="OLD-1 is retired"):
            merge_sites(kept=old, gone=factory.make_site("NEW-1"), by=None)

    def test_the_pages_put_together_and_take_apart(self, coordinator, cast):
        spare = factory.make_site("OAK-9", address=cast.site.address)
        page = coordinator.get(f"/sites/{cast.site.code}/same/").content.decode()
        assert "?with=OAK-9" in page
        page = coordinator.get(f"/sites/{cast.site.code}/same/?with=OAK-9").content.decode()
        assert "Which entry stays" in page
        coordinator.post(
            f"/sites/{cast.site.code}/same/", {"with": "OAK-9", "stays": "OAK-1"}, follow=True
        )
        spare.refresh_from_db()
        assert spare.merged_into == cast.site
        assert "OAK-9" not in coordinator.get("/sites/").content.decode()
        page = " ".join(coordinator.get(f"/sites/{cast.site.code}/").content.decode().split())
        assert "Found to be the same" in page
        assert "OAK-9: Retired · The same site as OAK-1" in page
        page = coordinator.get("/sites/OAK-9/").content.decode()
        assert "The same site as" in page
        merge = Merge.objects.get()
        # each kind has its own way back
        assert coordinator.post(f"/people/merges/{merge.pk}/undo/").status_code == 404
        coordinator.post(f"/sites/merges/{merge.pk}/undo/")
        spare.refresh_from_db()
        assert spare.merged_into is None
        with pytest.raises(Refused, match="taken back already"):
            undo_merge(merge=merge, by=None)
