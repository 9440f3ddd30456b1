"""What stands on an agreement besides its wording: exhibits, what was settled; the works as built; the blank form.

Read back with pypdf and pikepdf. PDF/UA-1 is ISO 14289-1: form fields have a tooltip (7.18.4: /TU), pages with them go through in the
order of structure (7.18.3: /Tabs /S), figures have words (7.3), letterforms are embedded (7.21).
"""

import re
from datetime import date

import pytest

from people.choices import AgentScope, OrganisationKind, Units
from people.models import Agent, Organisation
from sites.models import Parcel, SiteParcel
from stewardship.agreements import services
from stewardship.agreements.choices import DocumentKind, InstrumentKind
from stewardship.agreements.documents_as_built import as_built_document
from stewardship.agreements.documents_blank import blank_form
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement, Party, Requirement, Wording
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, drafted, in_force, offered
from tests.agreements.reading_back import fields, fonts, kinds, opened, struct_elements, texts

pytestmark = pytest.mark.django_db


def whole(content: bytes) -> str:
    return " ".join(texts(content))


def alternatives(content: bytes) -> list[str]:
    with opened(content) as pdf:
        return [str(one.Alt) for one in struct_elements(pdf) if one.S == "/Figure"]


class TestExhibits:
    def test_a_to_c_stand_behind_the_signatures_and_d_is_promised(self, folk):
        _, document = offered(folk)
        words = whole(document.content)
        places = [
            words.rindex(one)
            for one in (
                "Signatures Everybody who signs",
                "Exhibit A: Site",
                "Exhibit B: List of works",
                "Exhibit C: Duties and their times",
            )
        ]
        assert places == sorted(places)
        assert "Exhibit D: Works as built, added when they stand" in words
        assert "Landlord’s consent" not in words

    def test_the_plan_says_what_it_shows_to_those_who_cannot_see_it(self, folk):
        factory.make_basin(folk.site, label="B", plants=False)
        _, document = offered(folk)
        plan = next(one for one in alternatives(document.content) if "from above" in one)
        assert plan == (
            "The frontage of 710 Saltbush Street from above, street to walk: "
            "basin A: 65 ft² at the lip, 1 inlet, sediment trap 18.0 in × 12.0 in; "
            "basin B: 65 ft² at the lip, 1 inlet, sediment trap 18.0 in × 12.0 in."
        )

    def test_a_plan_shows_at_most_four_basins_and_every_basin_is_in_one(self, folk):
        for label in "BCDEF":
            factory.make_basin(folk.site, label=label, plants=False)
        _, document = offered(folk)
        plans = [one for one in alternatives(document.content) if "from above" in one]
        assert [re.findall(r"basin (\w):", one) for one in plans] in (
            [list("ABCD"), list("EF")],
            [list("EF"), list("ABCD")],
        )

    def test_basins_are_drawn_to_one_scale(self, folk):
        """An oblong of round ends, 2.4 times as long as wide: A = w² (1.4 + π/4), so 6 m² is 1.66 m across."""
        from stewardship.common.plan_drawing import PlanBasin, plan_svg

        small, large = (PlanBasin(n, area, area / 2, ()) for n, area in (("A", 1.5), ("B", 6.0)))
        assert large.across_m == pytest.approx(1.6569, abs=1e-4)
        svg = plan_svg([small, large], beside="710 Saltbush Street")
        across = [float(a) for a in re.findall(r'stroke="#1b2a31"[^>]*a(\d+\.\d) \1 0 0 1 0', svg)]
        assert len(across) == 2
        assert across[1] == pytest.approx(2 * across[0], abs=0.1)  # four times the area

    def test_parcels_stand_with_their_share_of_the_frontage(self, folk):
        for number, share, until in (("104-017", 60, None), ("104-018", 40, None), ("99", None, 1)):
            parcel = Parcel.objects.create(
                number=number,
                county="Palo Azul",
                until=date(2020, 1, 1) if until else None,
            )
            SiteParcel.objects.create(site=folk.site, parcel=parcel, share_percent=share)
        _, document = offered(folk)
        words = whole(document.content)
        assert "104-017, Palo Azul (60 % of the frontage)" in words
        assert "104-018, Palo Azul (40 % of the frontage)" in words
        assert "99, Palo Azul" not in words  # numbered otherwise since 2020

    def test_a_landlord_has_a_page_of_consent(self, folk):
        _, document = offered(
            folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
        )
        page = next(
            one for one in texts(document.content) if "By signing here, the landlord agrees" in one
        )
        assert "Exhibit E: Landlord’s consent" in page
        assert "Odile Farrow has title to the property beside the works" in page
        assert "have counsel review it" in page


class TestWhatWasSettled:
    @pytest.fixture
    def words(self, folk) -> str:
        before, _ = offered(folk)
        agreement = drafted(folk, ("owner", "owner"), ("tenant", "tenant"), ("program", "program"))
        condo = Organisation.objects.create(
            name="Saltbush Row Condominium",
            kind=OrganisationKind.CONDO,
            postal_address="110 Saltbush Street\noffice",
        )
        Party.objects.filter(agreement=agreement, capacity="owner").update(
            organisation=condo, part="the upper basin"
        )
        Agent.objects.create(
            principal=folk.tenant,
            agent=folk.officer,
            scope=AgentScope.SIGNS,
            authority="power of attorney of 3 May 2026",
            starts_on=date(2026, 5, 3),
        )
        Party.objects.filter(agreement=agreement, capacity="tenant").update(
            signs_by=folk.officer, part="the lower basin"
        )
        Agreement.objects.filter(pk=agreement.pk).update(
            cure_days=45,
            notices_by="certified",
            sharing="parts",
            supersedes=before,
            begins_on=date(2026, 8, 1),
        )
        Requirement.objects.create(agreement=agreement, kind="insurance", due_on=date(2026, 9, 1))
        document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        return whole(document.content)

    def test_it_stands_in_a_table_and_the_wording_follows_it(self, words):
        for said in (
            "To put a fault right 45 days",
            "They have 45 days from that letter",
            "Notices are given by certified mail",
            "Begins 1 August 2026",
            "Runs for 5 years",
            "each cares for a part. Ines Quist: the upper basin; Bram Okello: the lower basin",
            "Takes the place of agreement A-2026-001, from the day this one begins",
            "Insurance certificate, by 1 September 2026",
        ):
            assert said in words, said

    def test_organisations_and_those_who_sign_for_others_are_named(self, words):
        assert "Saltbush Row Condominium 110 Saltbush Street, office" in words
        assert "Ines Quist, owner, Saltbush Row Condominium" in words
        assert words.count("Signed for by Sam Orr, power of attorney of 3 May 2026") == 2
        assert "Ines Quist (owner, Saltbush Row Condominium)" in words


class TestWorksAsBuilt:
    @pytest.fixture
    def built(self, folk, one_print) -> Agreement:
        agreement = in_force(folk)
        services.mark_built(site=folk.site, on=date(2026, 7, 10))
        return agreement

    def test_it_shows_what_stands_with_plants_and_the_day(self, folk, built):
        basin = folk.site.basins.get()
        basin.plantings.create(
            species="desert willow", count=1, height_m=1.2, measured_on=date(2026, 7, 10)
        )
        document = as_built_document(agreement=built, on=date(2026, 7, 12))
        words = whole(document.content)
        for said in (
            "Exhibit D: Works as built",
            "as they stood on 12 July 2026",
            "OAK-7 10 July 2026",
            "1 × desert willow",
            "it changes nothing that anybody promised",
            "Signing here says only that this page was shown.",
        ):
            assert said in words, said
        assert (document.kind, document.version) == (DocumentKind.AS_BUILT, 1)
        assert document.file_name == "A-2026-001-as-built-v1.pdf"
        for number, page in enumerate(texts(document.content), start=1):
            assert f"Page {number} of {document.pages}" in page
        assert len(alternatives(document.content)) == 2

    def test_asked_for_again_it_is_the_same_until_the_works_change(self, folk, built):
        first = as_built_document(agreement=built, on=date(2026, 7, 12))
        assert as_built_document(agreement=built, on=date(2026, 7, 12)).pk == first.pk
        folk.site.basins.update(depth_m=0.3)
        second = as_built_document(agreement=built, on=date(2026, 7, 12))
        assert second.version == 2
        assert built.events.filter(why__startswith="Works as built").count() == 2

    def test_it_speaks_spanish(self, folk, built):
        Agreement.objects.filter(pk=built.pk).update(language="es")
        built.refresh_from_db()
        with opened(as_built_document(agreement=built, on=date(2026, 7, 12)).content) as pdf:
            assert pdf.Root.Lang == "es"
            assert all(fonts(pdf).values())

    def test_before_anything_is_built_there_is_nothing_to_show(self, folk, one_print):
        agreement = in_force(folk)
        with pytest.raises(Refused, match="Nothing is built yet under A-2026-001"):
            as_built_document(agreement=agreement, on=date(2026, 7, 12))

    def test_it_is_not_dated_ahead(self, built):
        with pytest.raises(Refused, match="A document is not dated ahead"):
            as_built_document(agreement=built, on=date(2026, 7, 16))


class TestTheBlankForm:
    @pytest.fixture
    def form(self, program) -> bytes:
        wording = Wording.objects.get(instrument="care_agreement", language="en")
        return blank_form(wording)

    def test_every_field_has_its_name_and_words(self, form):
        with opened(form) as pdf:
            found = {str(one.T): (str(one.FT), str(one.TU)) for one in fields(pdf)}
            assert len(found) == len(fields(pdf))
        assert found["name1"] == ("/Tx", "Name of person 1")
        assert found["capacity2"] == ("/Ch", "Person 2 signs as")
        assert found["cure"] == ("/Tx", "Days to put a fault right")
        assert found["lip3"] == ("/Tx", "Area at the lip of basin 3 (ft²)")
        assert found["shown1"] == ("/Btn", "Litter and leaves")
        for name, (_kind, words) in found.items():
            assert words and words != name

    def test_choices_export_a_value(self, form):
        with opened(form) as pdf:
            choices = [one for one in fields(pdf) if one.FT == "/Ch"]
            assert choices
            for one in choices:
                for value, words in one.Opt:
                    assert str(value) and str(words)
            capacity = next(one for one in choices if one.T == "capacity1")
            values = [str(value) for value, _words in capacity.Opt]
        assert values == ["-", *INSTRUMENTS["care_agreement"].capacities]

    def test_it_is_tagged_and_gone_through_in_order(self, form):
        with opened(form) as pdf:
            assert kinds(pdf).count("/Form") == len(fields(pdf))
            for page in pdf.pages:
                if "/Annots" in page:
                    assert page.Tabs == "/S"
            assert all(fonts(pdf).values())
            assert kinds(pdf).count("/H1") == 1
            with pdf.open_metadata() as meta:
                assert meta["pdfuaid:part"] == "1"

    def test_it_says_where_facts_are_written_and_stays_marked_for_counsel(self, form):
        words = whole(form)
        assert "{" not in words
        assert "is between the people named under “Who signs”" in words
        assert "Have counsel review it" in words
        pages = texts(form)
        for number, page in enumerate(pages, start=1):
            assert f"Page {number} of {len(pages)}" in page
            assert re.search(r"Signed care agreement · wording 1 · [0-9a-f]{12}", page)

    @pytest.mark.parametrize("language", ["en", "es"])
    @pytest.mark.parametrize("instrument", InstrumentKind.values)
    def test_a_coordinator_downloads_each_instrument_in_each_language(
        self, coordinator, instrument, language
    ):
        response = coordinator.get(f"/agreements/wordings/{instrument}/{language}/blank/")
        assert response.status_code == 200
        name = f"{instrument.replace('_', '-')}-{language}-v1-blank.pdf"
        assert response["Content-Disposition"] == f'attachment; filename="{name}"'
        with opened(response.content) as pdf:
            assert pdf.Root.Lang == language
            assert len(fields(pdf)) > 20
        covers = INSTRUMENTS[instrument].covers_sites
        with opened(response.content) as pdf:
            assert ("lip1" in {str(one.T) for one in fields(pdf)}) is covers

    def test_the_wordings_page_leads_to_it(self, coordinator):
        page = coordinator.get("/agreements/wordings/").content.decode()
        assert 'href="/agreements/wordings/care_agreement/es/blank/"' in page

    def test_an_instrument_or_language_without_wording_is_not_found(self, coordinator):
        assert coordinator.get("/agreements/wordings/lease/en/blank/").status_code == 404
        Wording.objects.filter(instrument="helper", language="es").update(in_use_since=None)
        assert coordinator.get("/agreements/wordings/helper/es/blank/").status_code == 404

    def test_it_asks_in_the_programs_units(self, program):
        factory.make_program(units=Units.METRIC)
        form = blank_form(Wording.objects.get(instrument="covenant", language="en"))
        with opened(form) as pdf:
            words = {str(one.T): str(one.TU) for one in fields(pdf)}
        assert words["deep1"] == "Depth of basin 1 (cm)"


def test_what_people_sign_has_no_fields(folk):
    _, document = offered(folk)
    with opened(document.content) as pdf:
        assert fields(pdf) == []
