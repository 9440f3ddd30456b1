"""Taking on a household, from its name to a document, through the pages. Resumable, and nothing typed is lost."""

from datetime import date
from io import BytesIO

import pytest
from pypdf import PdfReader

from people.choices import Channel
from people.models import Household, Person
from sites.choices import InletKind, Stage
from sites.models import Basin, Site
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, DutyGroup, InstrumentKind
from stewardship.agreements.models import Agreement, Document
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]

WHO = {
    "given_name": "Marit",
    "family_name": "Dueñas",
    "language": "en",
    "capacity": "owner",
    "channel": "email",
    "emails": "marit@example.org",
    "phones": "",
    "postal": "",
    "household_name": "",
    "household_address": "",
    "agency_office": "",
}
LANDLORD = {
    "capacity": "tenant",
    "landlord_given_name": "Iris",
    "landlord_family_name": "Vand",
    "landlord_postal": "9 Agave Court\nPalo Azul",
}
WHERE = {
    "code": "YUC-3",
    "street": "Yucca Lane",
    "address": "30 Yucca Lane",
    "lat": "34.5213",
    "lon": "-106.2451",
    "source_class": "quiet",
    "collection_weekday": "2",
    "cart_litres": "64",
}
BASIN = {
    "label": "A",
    "bottom_area_m2": "30",
    "top_area_m2": "70",
    "depth_m": "8",
    "lip_length_m": "2",
    "soak_mm_h": "1.5",
    "paved_m2": "900",
    "planted_catchment_m2": "200",
    "unpaved_curve_number": "77",
    "inlet-kind": "curb_cut",
    "inlet-width_m": "18",
    "inlet-height_m": "6",
    "inlet-trap_length_m": "18",
    "inlet-trap_width_m": "12",
    "inlet-trap_depth_m": "12",
    "inlet-trap_lip_m": "2.5",
}


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def begin(client, **changes) -> Agreement:
    response = client.post("/onboard/", WHO | changes)
    assert response.status_code == 302, response.context["form"].errors
    return Agreement.objects.order_by("-pk").first()


def at(agreement: Agreement, step: str) -> str:
    return f"/onboard/{agreement.reference}/{step}/"


def up_to_works(client, **changes) -> Agreement:
    agreement = begin(client, **changes)
    client.post(at(agreement, "where"), WHERE)
    client.post(at(agreement, "works"), BASIN)
    return agreement


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
    assert response.url == f"/agreements/{agreement.pk}/"
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


class TestWho:
    def test_looking_at_the_first_step_writes_nothing(self, coordinator):
        before = Agreement.objects.count(), Person.objects.count()
        assert coordinator.get("/onboard/?q=quist").status_code == 200
        assert (Agreement.objects.count(), Person.objects.count()) == before

    def test_somebody_in_the_book_is_found_and_taken(self, coordinator, cast):
        page = text_of(coordinator.get("/onboard/?q=quist"))
        assert f"?person={cast.owner.pk}" in page
        form = coordinator.get(f"/onboard/?person={cast.owner.pk}").context["form"]
        assert form["given_name"].value() == "Ines"
        people = Person.objects.count()
        agreement = begin(
            coordinator,
            person=cast.owner.pk,
            given_name="Ines",
            family_name="Quist",
            emails="ines.quist@example.org",
        )
        assert Person.objects.count() == people
        assert agreement.parties.get().person == cast.owner

    def test_a_tenant_comes_with_the_landlord(self, coordinator):
        agreement = begin(coordinator, **LANDLORD)
        parties = {p.capacity: p.person for p in agreement.parties.all()}
        assert set(parties) == {"tenant", "landlord"}
        assert str(parties["landlord"]) == "Iris Vand"
        assert parties["landlord"].channel == Channel.LETTER

    @pytest.mark.parametrize(
        ("changes", "field", "words"),
        [
            ({"given_name": ""}, "given_name", "required"),
            ({"emails": ""}, "emails", "give an e-mail address"),
            ({"capacity": "tenant"}, "landlord", "needs the landlord’s consent"),
            (LANDLORD | {"landlord_postal": ""}, "landlord_email", "one way to reach"),
            (LANDLORD | {"landlord_email": "no"}, "landlord_email", "not an e-mail address"),
            ({"capacity": "agency_officer"}, "agency", "which agency they speak for"),
            ({"household_name": "Dueñas"}, "household_address", "where the new household lives"),
        ],
    )
    def test_what_is_missing_is_told_at_its_field_and_nothing_is_begun(
        self, coordinator, changes, field, words
    ):
        before = Agreement.objects.count()
        response = coordinator.post("/onboard/", WHO | changes)
        assert words in response.context["form"].errors[field][0]
        assert "Dueñas" in text_of(response)
        assert Agreement.objects.count() == before

    def test_no_surname_and_no_reminders_are_fine(self, coordinator):
        agreement = begin(coordinator, family_name="", channel="none", emails="")
        assert str(agreement.parties.get().person) == "Marit"

    def test_the_language_chosen_is_that_of_the_agreement(self, coordinator):
        assert begin(coordinator, language="es").language == "es"

    def test_a_new_household_is_written_down(self, coordinator):
        agreement = begin(coordinator, household_name="Dueñas", household_address="30 Yucca Lane")
        assert agreement.parties.get().person.household == Household.objects.get(name="Dueñas")

    def test_going_back_changes_the_same_person_and_their_capacity(self, coordinator):
        agreement = begin(coordinator, **LANDLORD)
        form = coordinator.get(at(agreement, "who")).context["form"]
        assert form["given_name"].value() == "Marit"
        assert form["capacity"].value() == "tenant"
        people = Person.objects.count()
        coordinator.post(at(agreement, "who"), WHO | {"family_name": "Duarte"})
        assert Person.objects.count() == people
        party = agreement.parties.get()
        assert (str(party.person), party.capacity) == ("Marit Duarte", "owner")

    def test_an_agency_office_is_offered_a_memorandum(self, coordinator, cast):
        agreement = begin(
            coordinator,
            capacity="agency_officer",
            agency=cast.agency.pk,
            agency_office="Maintenance",
        )
        assert agreement.instrument == InstrumentKind.MEMORANDUM
        assert agreement.parties.get().agency == cast.agency

    def test_a_helper_walks_a_shorter_path(self, coordinator):
        agreement = begin(coordinator, capacity="helper")
        response = coordinator.get(f"/onboard/{agreement.reference}/")
        assert response.url == at(agreement, "agreement")
        assert coordinator.get(at(agreement, "works")).status_code == 404


class TestWhere:
    def test_a_site_without_coordinates_is_saved_and_says_what_that_costs(self, coordinator):
        agreement = begin(coordinator)
        response = coordinator.post(
            at(agreement, "where"), WHERE | {"lat": "", "lon": ""}, follow=True
        )
        assert "the rain there cannot be worked out until it has" in text_of(response)
        assert not Site.objects.get(code="YUC-3").has_place

    def test_half_a_place_is_told_at_the_field(self, coordinator):
        agreement = begin(coordinator)
        response = coordinator.post(at(agreement, "where"), WHERE | {"lon": ""})
        assert "lon" in response.context["form"].errors
        assert "30 Yucca Lane" in text_of(response)

    def test_the_next_free_code_is_offered(self, coordinator):
        factory.make_site("YUC-09")
        agreement = begin(coordinator)
        form = coordinator.get(at(agreement, "where")).context["form"]
        assert form["code"].value() == "YUC-10"

    def test_t04_a_corner_lot_gets_its_second_frontage(self, coordinator):
        agreement = begin(coordinator)
        coordinator.post(at(agreement, "where"), WHERE)
        coordinator.post(at(agreement, "where") + "?site=new", WHERE | {"code": "YUC-4"})
        assert {s.code for s in agreement.sites.all()} == {"YUC-3", "YUC-4"}

    def test_going_back_corrects_the_same_site(self, coordinator):
        agreement = begin(coordinator)
        coordinator.post(at(agreement, "where"), WHERE)
        coordinator.post(at(agreement, "where"), WHERE | {"address": "32 Yucca Lane"})
        assert agreement.sites.get().address == "32 Yucca Lane"

    def test_a_site_in_the_book_is_taken_and_left(self, coordinator):
        site = factory.make_site("OAK-9")
        agreement = begin(coordinator)
        coordinator.post(at(agreement, "where"), {"do": "take", "existing": site.pk})
        assert agreement.sites.get() == site
        coordinator.post(at(agreement, "where"), {"do": "leave", "site": "OAK-9"})
        assert not agreement.sites.exists()
        assert Site.objects.filter(code="OAK-9").exists()

    def test_a_site_that_somebody_looks_after_cannot_be_taken(self, coordinator):
        taken = factory.make_built_site("OAK-8")
        factory.make_site("OAK-9")
        agreement = begin(coordinator)
        response = coordinator.post(at(agreement, "where"), {"do": "take", "existing": taken.pk})
        assert response.status_code == 200
        assert "Sites that somebody looks after are not listed" in text_of(response)
        assert not agreement.sites.exists()


class TestWorks:
    def test_sizes_are_kept_in_metres_and_as_they_were_typed(self, coordinator):
        agreement = up_to_works(coordinator)
        basin = Basin.objects.get(site__agreements=agreement)
        # 8 in = 0.2032 m and 30 ft² = 2.787 m² (international inch and foot, NIST SP 811)
        assert basin.depth_m == pytest.approx(0.2032)
        assert basin.bottom_area_m2 == pytest.approx(30 * 0.3048**2)
        assert basin.typed["depth_m"] == "8 in"
        trap = basin.inlets.get().trap
        assert trap.typed == {
            "length_m": "18 in",
            "width_m": "12 in",
            "depth_m": "12 in",
            "lip_below_inlet_m": "2.5 in",
        }
        assert "18 in × 12 in, 12 in" in text_of(coordinator.get(at(agreement, "works")))

    def test_the_page_says_what_it_holds_and_what_an_inch_would_do(self, coordinator):
        agreement = up_to_works(coordinator)
        (capacity,) = coordinator.get(at(agreement, "works")).context["planned"]
        # a frustum: h/3 (A + √(AB) + B), in ft³ with A = 30, B = 70 ft² and h = 8 in; 1 ft³ = 0.028316846592 m³
        cubic_feet = (8 / 12) / 3 * (30 + (30 * 70) ** 0.5 + 70)
        assert capacity.holds_m3 == pytest.approx(cubic_feet * 0.028316846592)
        assert capacity.inflow_m3 == pytest.approx(
            capacity.soaked_m3 + capacity.spilled_m3, rel=1e-9
        )

    def test_slopes_of_the_gutter_may_be_given_and_let_water_pass_by(self, coordinator):
        agreement = up_to_works(coordinator)
        basin = Basin.objects.get(site__agreements=agreement)
        page = at(agreement, "works")
        (before,) = coordinator.get(page).context["planned"]
        slopes = {"inlet-gutter_slope_percent": "6", "inlet-cross_slope_percent": "2"}
        coordinator.post(page + f"?basin={basin.pk}", BASIN | slopes)
        (after,) = coordinator.get(page).context["planned"]
        assert basin.inlets.get().gutter_slope_percent == 6
        assert after.passed_by_m3 > before.passed_by_m3

    def test_everything_wrong_is_told_at_once(self, coordinator):
        agreement = begin(coordinator)
        coordinator.post(at(agreement, "where"), WHERE)
        response = coordinator.post(
            at(agreement, "works"),
            BASIN | {"top_area_m2": "20", "inlet-height_m": "", "inlet-trap_width_m": ""},
        )
        assert "top_area_m2" in response.context["form"].errors
        assert {"height_m", "trap_width_m"} <= set(response.context["inlet_form"].errors)
        assert not Basin.objects.filter(site__agreements=agreement).exists()

    def test_a_basin_is_corrected_and_taken_out_again(self, coordinator):
        agreement = up_to_works(coordinator)
        basin = Basin.objects.get(site__agreements=agreement)
        coordinator.post(
            at(agreement, "works") + f"?basin={basin.pk}",
            BASIN | {"depth_m": "10", "inlet-kind": "curb_core", "inlet-height_m": ""},
        )
        basin.refresh_from_db()
        assert basin.typed["depth_m"] == "10 in"
        assert basin.inlets.get().kind == InletKind.CURB_CORE
        coordinator.post(at(agreement, "works"), {"do": "remove", "basin": basin.pk})
        assert not Basin.objects.filter(site__agreements=agreement).exists()

    def test_a_built_basin_is_not_taken_out(self, coordinator, cast):
        agreement = services.draft_agreement(instrument="licence", sites=[cast.site])
        basin = cast.site.basins.get()
        response = coordinator.post(
            at(agreement, "works"), {"do": "remove", "basin": basin.pk}, follow=True
        )
        assert "cannot be taken out of the book" in text_of(response)
        assert cast.site.basins.count() == 1


class TestDuties:
    def test_what_was_talked_about_is_kept_and_the_rest_is_named(self, coordinator):
        agreement = up_to_works(coordinator)
        response = coordinator.post(
            at(agreement, "duties"), {"litter": "on", "trap": "on"}, follow=True
        )
        assert "5 duties have not been talked about yet" in text_of(response)
        assert {d.group for d in agreement.duties_shown.all()} == {"litter", "trap"}
        form = coordinator.get(at(agreement, "duties")).context["form"]
        assert form["litter"].value() and not form["plants"].value()

    def test_the_times_are_those_of_the_care_rules_and_go_into_the_document(self, coordinator):
        factory.make_care_rule(phase="settling_in", least_in=0.25)
        factory.make_care_rule(trigger="calendar", phase="settling_in", every_days=30)
        agreement = up_to_works(coordinator)
        page = text_of(coordinator.get(at(agreement, "duties")))
        assert "each storm of 0.25 in or more, within 5 days of our message" in page
        assert "every 30 days" in page
        coordinator.post(at(agreement, "agreement"), {"do": "me"})
        coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-07-15"})
        content = bytes(Document.objects.get(agreement=agreement).content)
        whole = " ".join(p.extract_text() for p in PdfReader(BytesIO(content)).pages)
        assert "each storm of 0.25 in or more" in " ".join(whole.split())


class TestAgreement:
    def test_terms_are_saved(self, coordinator):
        agreement = up_to_works(coordinator)
        coordinator.post(
            at(agreement, "agreement"),
            {"do": "terms", "instrument": "licence", "language": "es", "begins_on": "2026-09-01"},
        )
        agreement.refresh_from_db()
        assert (agreement.instrument, agreement.language, agreement.begins_on) == (
            "licence",
            "es",
            date(2026, 9, 1),
        )

    def test_it_says_who_is_not_named_yet_and_makes_no_document(self, coordinator):
        agreement = up_to_works(coordinator)
        response = coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-07-15"})
        assert "nobody is named yet" in response.context["offer"].errors["on"][0]
        assert not Document.objects.filter(agreement=agreement).exists()

    def test_somebody_is_named_and_taken_out(self, coordinator, cast):
        agreement = up_to_works(coordinator)
        coordinator.post(
            at(agreement, "agreement"),
            {"do": "name", "person": cast.other_owner.pk, "capacity": "owner"},
        )
        party = agreement.parties.get(person=cast.other_owner)
        coordinator.post(at(agreement, "agreement"), {"do": "unname", "party": party.pk})
        assert not agreement.parties.filter(person=cast.other_owner).exists()

    def test_a_date_ahead_is_told_at_the_field(self, coordinator):
        agreement = up_to_works(coordinator)
        coordinator.post(at(agreement, "agreement"), {"do": "me"})
        response = coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-08-01"})
        assert "not dated ahead" in response.context["offer"].errors["on"][0]


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
        assert "Somebody has signed" in response.context["form"].non_field_errors()[0]
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
