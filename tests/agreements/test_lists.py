"""Lists of an existing program: looked through, taken in, written out and in again."""

import csv
import io
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from openpyxl import Workbook, load_workbook

from people.models import Membership, Person, PersonExternalId, User
from sites.models import Basin, Inlet, Site, SiteExternalId
from stewardship.agreements.lists.reading import read_lists
from stewardship.agreements.lists.sheets import SHEETS
from stewardship.agreements.lists.writing import as_csv, as_workbook
from stewardship.agreements.models import Agreement, ListFile, Responsibility, Signature
from stewardship.common.errors import Refused
from tests.agreements.test_agreement_pages import text_of

pytestmark = pytest.mark.django_db

PEOPLE = [
    ["person", "given_name", "family_name", "emails", "phones", "language"],
    ["17", "Odalys", "Brennecke", "odalys@example.org", "505-555-0131", "es"],
    ["18", "Perpetua", "", "", "505-555-0132", ""],
    ["19", "Wendell", "Ashgrove", "wendell@example.org", "", ""],
]
SITES = [
    ["site", "street", "address", "lat", "lon", "parcels", "other_ids", "built_on"],
    [
        "ELM-4", "Elm Court", "4 Elm Court", "34.521", "-106.244",
        "1-002-03/Vega; 1-002-04", "assessor: B-9", "2024-05-20",
    ],
    ["ELM-6", "Elm Court", "6 Elm Court", "", "", "", "", ""],
]  # fmt: skip
BASINS = [
    ["site", "basin", "bottom_area", "top_area", "depth", "soak", "paved"],
    ["ELM-4", "A", "60 ft2", "90 ft²", "8 in", "25", "150"],
]
INLETS = [
    [
        "site",
        "basin",
        "inlet",
        "kind",
        "width",
        "height",
        "trap_length",
        "trap_width",
        "trap_depth",
    ],
    ["ELM-4", "A", "1", "curb cut", "18 in", "5 in", "24 in", "18 in", "6 in"],
]
AGREEMENTS = [
    ["agreement", "instrument", "sites", "begins_on", "ends_on", "paper_kept_at"],
    ["OLD-1", "care-agreement", "ELM-4", "3/1/2024", "2034-03-01", "green folder"],
]
SIGNERS = [
    ["agreement", "person", "capacity", "signed_on"],
    ["OLD-1", "17", "owner", "2024-02-20"],
    ["OLD-1", "19", "program", "2024-03-01"],
]
ALL = {
    "people": PEOPLE, "sites": SITES, "basins": BASINS, "inlets": INLETS,
    "agreements": AGREEMENTS, "signers": SIGNERS,
}  # fmt: skip


@pytest.fixture
def desk(program, client):
    """A coordinator whose book is empty."""
    user = User.objects.create_user("desk@example.org", "desk-desk-desk")
    Membership.objects.create(user=user, role="coordinator")
    client.force_login(user)
    return client


def workbook(lists: dict[str, list[list]]) -> bytes:
    book = Workbook()
    book.remove(book.active)
    for name, rows in lists.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def table(rows: list[list], delimiter=",") -> bytes:
    file = io.StringIO()
    csv.writer(file, delimiter=delimiter).writerows(rows)
    return file.getvalue().encode()


def look(coordinator, content: bytes, name="old.xlsx", **facts):
    data = {
        "file": SimpleUploadedFile(name, content),
        "kept_by": "old spreadsheet",
        "day_order": "month_first",
    } | facts
    return coordinator.post("/agreements/lists/", data, follow=True)


def take(coordinator) -> ListFile:
    file = ListFile.objects.order_by("-pk").first()
    coordinator.post(f"/agreements/lists/{file.pk}/take/", {"do": "take"})
    file.refresh_from_db()
    return file


def faults(file: ListFile) -> list[tuple]:
    return [(f["sheet"], f["line"], f["column"], f["words"]) for f in file.found["faults"]]


def whole_book() -> dict:
    return {
        "people": Person.objects.count(),
        "sites": Site.objects.count(),
        "basins": Basin.objects.count(),
        "inlets": Inlet.objects.count(),
        "agreements": Agreement.objects.count(),
        "signatures": Signature.objects.count(),
    }


class TestTakingIn:
    def test_the_look_tells_what_would_come_and_writes_nothing(self, desk):
        before = whole_book()
        response = look(desk, workbook(ALL))
        assert "Take in 8 rows" in text_of(response)
        assert whole_book() == before
        file = ListFile.objects.get()
        assert file.found["counts"] == {
            "people": {"new": 3}, "sites": {"new": 2}, "basins": {"new": 1}, "inlets": {"new": 1},
            "agreements": {"new": 1},
        }  # fmt: skip
        assert file.found["faults"] == []

    def test_taken_in_the_site_is_built_under_its_agreement_and_somebody_owes_it(self, desk):
        look(desk, workbook(ALL))
        file = take(desk)
        assert (file.state, file.found["faults"]) == ("taken", [])
        site = Site.objects.get(code="ELM-4")
        assert (site.stage, site.built_on) == ("built", date(2024, 5, 20))
        basin = site.basins.get()
        assert basin.depth_m == pytest.approx(
            0.2032
        )  # 8 in of 25.4 mm, exact by definition (NIST SP 811)
        assert basin.top_area_m2 == pytest.approx(90 * 0.3048**2)
        agreement = Agreement.objects.get(reference="OLD-1")
        assert (agreement.state, agreement.begins_on, agreement.ends_on) == (
            "in_force", date(2024, 3, 1), date(2034, 3, 1),
        )  # fmt: skip
        held = Responsibility.objects.get(site=site, role="does")
        assert (str(held.person), held.ends_on) == ("Odalys Brennecke", date(2034, 3, 1))
        assert {
            s.original_kept_at for s in Signature.objects.filter(document__agreement=agreement)
        } == {"green folder"}
        assert SiteExternalId.objects.get().value == "B-9"
        assert [str(a.parcel) for a in site.along.all()] == ["1-002-03, Vega", "1-002-04"]
        assert PersonExternalId.objects.get(value="17").person.language == "es"

    def test_the_same_list_twice_doubles_nothing(self, desk):
        look(desk, workbook(ALL))
        take(desk)
        before = whole_book()
        look(desk, workbook(ALL))
        second = take(desk)
        assert whole_book() == before
        assert all(set(count) == {"same"} for count in second.found["counts"].values())

    def test_half_of_the_rows_are_wrong_and_each_says_why_at_its_column(self, desk):
        """The issue's bad input: an import with half its rows wrong."""
        sites = [
            SITES[0],
            ["OK-1", "Elm Court", "1 Elm Court", "34.5", "-106.2", "", "", ""],
            ["BAD 1", "Elm Court", "2 Elm Court", "", "", "", "", ""],
            ["OK-2", "Elm Court", "3 Elm Court", "34.6", "-106.3", "", "", ""],
            ["BAD-2", "Elm Court", "5 Elm Court", "134.5", "-106.2", "", "", ""],
            ["BAD-3", "", "7 Elm Court", "", "", "", "", ""],
            ["OK-1", "Elm Court", "9 Elm Court", "", "", "", "", ""],
            ["BAD-4", "Elm Court", "11 Elm Court", "north", "-106.2", "", "", ""],
            ["OK-3", "Elm Court", "13 Elm Court", "34.6", "-106.3", "", "", ""],
            ["BAD-5", "Elm Court", "15 Elm Court", "34.6", "", "", "", ""],
            ["OK-4", "Elm Court", "17 Elm Court", "34.6", "-106.3", "", "", ""],
        ]
        response = look(desk, table(sites), "sites.csv")
        file = ListFile.objects.get()
        assert faults(file) == [
            ("sites", 3, "site", "Use letters, digits and hyphens only, e.g. OAK-12."),
            ("sites", 5, "lat", "Degrees run from −90 to 90."),
            ("sites", 6, "street", "This is needed."),
            ("sites", 7, "site", "Line 2 names the same."),
            ("sites", 8, "lat", "“north” is not a number."),
            ("sites", 10, "", "Give latitude and longitude together, or neither."),
        ]
        assert "Take in 4 rows" in text_of(response)
        lines = desk.get(f"/agreements/lists/{file.pk}/not-taken/").content.decode("utf-8-sig")
        assert len(list(csv.reader(io.StringIO(lines)))) == 7
        take(desk)
        assert set(Site.objects.values_list("code", flat=True)) == {"OK-1", "OK-2", "OK-3", "OK-4"}

    @pytest.mark.parametrize(
        ("changed", "words"),
        [
            ({"begins_on": "2024-02-01"}, "It cannot begin on Thu 1 Feb 2024: the last signature"),
            ({"ends_on": "2023-03-01"}, "It cannot end on"),
            ({"begins_on": "13/13/2024"}, "“13/13/2024” is not a day; write it like 2026-07-14."),
            ({"sites": "NO-1"}, "There is no site “NO-1”."),
            ({"paper_kept_at": ""}, "This is needed."),
            ({"instrument": "handshake"}, "“handshake” is not one of: covenant, licence,"),
        ],
    )
    def test_a_date_order_that_cannot_be_and_other_faults_of_an_agreement(
        self, desk, changed, words
    ):
        row = dict(zip(AGREEMENTS[0], AGREEMENTS[1], strict=True)) | changed
        look(desk, workbook(ALL | {"agreements": [list(row), list(row.values())]}))
        file = take(desk)
        told = [f for f in file.found["faults"] if f["sheet"] == "agreements"]
        assert len(told) == 1 and told[0]["words"].startswith(words)
        assert not Agreement.objects.exists()
        # and the gate holds: without it the site is not built
        assert Site.objects.get(code="ELM-4").stage == "proposed"
        assert any(f["column"] == "built_on" for f in file.found["faults"])

    def test_a_tenants_signature_alone_builds_nothing(self, desk):
        signers = [SIGNERS[0], ["OLD-1", "17", "tenant", "2024-02-20"], SIGNERS[2]]
        look(desk, workbook(ALL | {"signers": signers}))
        take(desk)
        assert Agreement.objects.get().state == "offered"
        assert Site.objects.get(code="ELM-4").stage == "proposed"

    def test_what_is_signed_no_list_changes(self, desk):
        look(desk, workbook(ALL))
        take(desk)
        later = [AGREEMENTS[0], [*AGREEMENTS[1][:4], "2044-03-01", "green folder"]]
        look(desk, workbook(ALL | {"agreements": later}))
        file = take(desk)
        assert "what was signed no list changes" in file.found["faults"][0]["words"]
        assert Agreement.objects.get().ends_on == date(2034, 3, 1)

    def test_a_wrong_signer_is_told_with_its_line(self, desk):
        signers = [*SIGNERS, ["OLD-1", "99", "tenant", ""]]
        look(desk, workbook(ALL | {"signers": signers}))
        assert (
            "Signers, line 4, person: Nobody is called “99” in the list of people."
            in ListFile.objects.get().found["faults"][0]["words"]
        )

    def test_a_shared_address_alone_makes_nobody_the_same(self, desk):
        people = [
            ["person", "given_name", "family_name", "emails"],
            ["1", "Odalys", "Brennecke", "both@example.org"],
            ["2", "Rufus", "Brennecke", "both@example.org"],
        ]
        look(desk, table(people), "people.csv")
        take(desk)
        assert Person.objects.filter(contact_points__value="both@example.org").count() == 2

    def test_a_list_left_is_not_taken_in_later(self, desk):
        look(desk, workbook(ALL))
        file = ListFile.objects.get()
        desk.post(f"/agreements/lists/{file.pk}/take/", {"do": "leave"})
        response = desk.post(f"/agreements/lists/{file.pk}/take/", {"do": "take"}, follow=True)
        assert "This list was left already." in text_of(response)
        file.refresh_from_db()
        assert (file.state, bytes(file.content)) == ("left", b"")
        assert not Site.objects.exists()


class TestFilesThatAreNone:
    @pytest.mark.parametrize(
        ("name", "content", "words"),
        [
            ("a.xlsx", b"PK\x03\x04 broken", "The workbook cannot be opened"),
            ("a.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "This is an old .xls workbook"),
            ("a.csv", b"what,ever\n1,2\n", "No list is recognised."),
            ("a.csv", b"\x00\x01\x02\x00", "neither a workbook nor a text file"),
            ("a.csv", b'site,street,address\nX,"y,z\n', "a quotation mark has no partner"),
            ("a.csv", b"site,street\nX,y\n", "The list of “Sites” lacks the column “address”."),
            ("a.csv", b"site,street,address,lat,lat\nX,y,z,1,2\n", "has the column “lat” twice"),
        ],
    )
    def test_each_gets_one_sentence_at_the_file(self, desk, name, content, words):
        response = look(desk, content, name)
        assert response.status_code == 422
        assert words in text_of(response)
        assert not ListFile.objects.exists()

    def test_semicolons_tabs_and_old_encodings_are_read(self):
        rows = [["site", "street", "address"], ["A-1", "Peñasco", "1 Peñasco"]]
        for delimiter in ",;\t":
            text = table(rows, delimiter).decode()
            for encoding in ("utf-8", "utf-8-sig", "cp1252"):
                found = read_lists("x.csv", text.encode(encoding))
                assert found.rows["sites"][0]["street"] == "Peñasco"


class TestWritingOut:
    def test_the_book_comes_in_again_unchanged(self, cast, coordinator):
        """Round trip: every row of what was written out is the same as what is in the book."""
        content = as_workbook()
        before = whole_book()
        look(coordinator, content, "rillbook.xlsx", kept_by="Rillbook")
        file = take(coordinator)
        assert file.found["faults"] == []
        assert all(set(count) == {"same"} for count in file.found["counts"].values())
        assert set(file.found["counts"]) >= {"people", "sites", "basins", "agreements"}
        assert whole_book() == before

    def test_an_empty_book_becomes_the_same_book(self, desk):
        look(desk, workbook(ALL))
        take(desk)
        first = {name: as_csv(name) for name in SHEETS if name not in ("people", "signers")}
        content = as_workbook()
        Signature.objects.all()._raw_delete("default")  # the book itself lets no signature go
        Responsibility.objects.all().delete()
        for agreement in Agreement.objects.all():
            agreement.documents.all().delete()
            agreement.parties.all().delete()
            agreement.delete()
        for site in Site.objects.all():
            for basin in site.basins.all():
                for inlet in basin.inlets.all():
                    inlet.trap.delete()
                    inlet.delete()
                basin.delete()
            site.delete()
        PersonExternalId.objects.all().delete()
        look(desk, content, "rillbook.xlsx", kept_by="Rillbook")
        file = take(desk)
        assert file.found["faults"] == []
        assert {name: as_csv(name) for name in first} == first

    def test_no_cell_runs_as_a_formula_and_the_text_comes_back(self, desk):
        sites = [SITES[0], ["ELM-4", "=1+1", "@home", "", "", "", "", ""]]
        look(desk, table(sites), "sites.csv")
        take(desk)
        assert Site.objects.get().street == "=1+1"
        cell = load_workbook(io.BytesIO(as_workbook()))["sites"]["B2"]
        assert (cell.data_type, cell.value) == ("s", "'=1+1")
        assert read_lists("sites.csv", as_csv("sites")).rows["sites"][0]["street"] == "=1+1"

    def test_who_wrote_what_out_is_written_down(self, cast, coordinator):
        response = coordinator.post("/agreements/lists/out/", {"list": "all"})
        assert response["Content-Disposition"] == 'attachment; filename="rillbook.xlsx"'
        given = ListFile.objects.get()
        assert (given.state, given.by is not None) == ("given", True)
        assert coordinator.post("/agreements/lists/out/", {"list": "secrets"}).status_code == 404


def test_a_list_is_settled_at_a_time(program):
    file = ListFile.objects.create(name="x")
    with pytest.raises(IntegrityError), transaction.atomic():
        ListFile.objects.filter(pk=file.pk).update(state="taken")
    with pytest.raises(IntegrityError), transaction.atomic():
        ListFile.objects.filter(pk=file.pk).update(state="nowhere")


def test_a_file_that_is_too_large_is_refused():
    with pytest.raises(Refused, match="larger than 10 MB"):
        read_lists("x.csv", b"x" * 10_000_001)
