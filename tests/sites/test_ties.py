"""A site's parcels and what other lists call it, from the site's own page."""

import pytest
from django.urls import reverse

from sites.models import Parcel, Site
from sites.ties import Along, Elsewhere, set_external_ids, set_parcels
from stewardship.common.errors import Refused
from tests import factory
from tests.sites.test_site_forms import NEW, SITE

ONE_ROW = {
    "parcel-TOTAL_FORMS": 1,
    "parcel-INITIAL_FORMS": 0,
    "elsewhere-TOTAL_FORMS": 1,
    "elsewhere-INITIAL_FORMS": 0,
}


def test_a_new_site_comes_with_its_parcel_and_its_name_elsewhere(cast, coordinator):
    rows = {"parcel-0-number": "1-2-3", "elsewhere-0-kept_by": "Assessor", "elsewhere-0-value": "9"}
    coordinator.post(NEW, SITE | ONE_ROW | rows)
    site = Site.objects.get(code="ASH-9")
    assert [str(tie.parcel) for tie in site.along.all()] == ["1-2-3"]
    assert [str(one) for one in site.external_ids.all()] == ["Assessor: 9"]
    page = coordinator.get(reverse("sites:edit", args=["ASH-9"])).content.decode()
    assert "1-2-3" in page
    assert "Assessor" in page


def test_a_row_that_is_refused_takes_the_correction_back_too(cast, coordinator):
    set_external_ids(site=cast.other_site, elsewhere=[Elsewhere("Assessor", "9")])
    address = reverse("sites:edit", args=[cast.site.code])
    rows = {"elsewhere-0-kept_by": "Assessor", "elsewhere-0-value": "9"}
    changed = SITE | {"address": "1 Changed Street", "another_site": "on"}
    response = coordinator.post(address, changed | ONE_ROW | rows)
    assert response.status_code == 200
    page = response.content.decode()
    assert "means ELM-2 already" in page
    assert "1 Changed Street" in page
    cast.site.refresh_from_db()
    assert cast.site.address != "1 Changed Street"


def test_a_form_sent_without_the_rows_leaves_them_as_they_are(cast, coordinator):
    set_parcels(site=cast.site, along=[Along("1-2-3")])
    coordinator.post(reverse("sites:edit", args=[cast.site.code]), SITE | {"another_site": "on"})
    assert cast.site.along.count() == 1


@pytest.mark.django_db
class TestServices:
    def test_the_same_parcel_is_one_row_whatever_the_spaces(self):
        set_parcels(site=factory.make_site("OAK-1"), along=[Along(" 1-2  3 ", "Palo  Azul")])
        set_parcels(site=factory.make_site("OAK-2"), along=[Along("1-2 3", "Palo Azul", 50)])
        assert Parcel.objects.get().along.count() == 2

    def test_a_parcel_named_twice_is_refused(self):
        with pytest.raises(Refused, match="named twice"):
            set_parcels(site=factory.make_site("OAK-1"), along=[Along("1"), Along("1 ")])

    def test_an_identifier_may_move_to_another_basin_of_the_site(self):
        site = factory.make_site("OAK-1")
        first, second = (factory.make_basin(site, label, plants=False) for label in "AB")
        set_external_ids(site=site, elsewhere=[Elsewhere("Streets", "7", first)])
        set_external_ids(site=site, elsewhere=[Elsewhere("Streets", "7", second)])
        assert site.external_ids.get().basin == second

    def test_a_basin_of_another_site_is_refused(self):
        other = factory.make_basin(factory.make_site("OAK-2"), plants=False)
        with pytest.raises(Refused, match="not at this site"):
            set_external_ids(
                site=factory.make_site("OAK-1"), elsewhere=[Elsewhere("Streets", "7", other)]
            )

    def test_nothing_changed_leaves_no_event(self):
        site = factory.make_site("OAK-1")
        set_parcels(site=site, along=[Along("1", "", 40)])
        before = site.events.count()
        set_parcels(site=site, along=[Along("1", "", 40)])
        set_external_ids(site=site, elsewhere=[])
        assert site.events.count() == before
