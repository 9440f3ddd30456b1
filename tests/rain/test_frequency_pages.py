"""Tables of how unusual a rain is: handed in, looked at, kept, replaced and withdrawn on their pages."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from stewardship.rain.models import FrequencyTable
from tests import factory
from tests.frequency_files import BROKEN, OUTSIDE, WEB_PAGE, table_file

pytestmark = pytest.mark.django_db

PAGE = "/rain/how-unusual/"


def hand_in(browser, text: str | bytes, name: str = "table.csv"):
    content = text if isinstance(text, bytes) else text.encode()
    return browser.post(PAGE, {"file": SimpleUploadedFile(name, content)})


def test_a_coordinator_hands_in_a_table_looks_at_it_and_keeps_it(cast, coordinator):
    preview = hand_in(coordinator, table_file())
    html = preview.content.decode()
    for words in ("Nothing is kept yet", "NOAA Atlas 14 Volume 1 Version 5", "0.50 in", "63 %"):
        assert words in html
    assert not FrequencyTable.objects.exists()
    form = preview.context["form"]
    assert form["name"].value() == "Palo Azul, New Mexico, USA"
    kept = coordinator.post(
        reverse("rain:frequency_keep"), {"text": form["text"].value(), "name": "Palo Azul"}
    )
    table = FrequencyTable.objects.get()
    assert kept.url == reverse("rain:frequency", args=[table.pk])
    assert (table.name, table.by) == ("Palo Azul", cast.coordinator)
    page = coordinator.get(kept.url).content.decode()
    assert "1.00 in" in page and "5-year" in page and "39 %" in page
    assert "Palo Azul" in coordinator.get(PAGE).content.decode()


def test_the_text_of_the_preview_keeps_every_figure_on_its_way_through_a_browser(coordinator):
    """Browsers send line ends of a form's field as CR LF (HTML standard, form submission)."""
    form = hand_in(coordinator, table_file(bounds=True)).context["form"]
    sent = form["text"].value().replace("\n", "\r\n")
    coordinator.post(reverse("rain:frequency_keep"), {"text": sent, "name": "Town"})
    assert FrequencyTable.objects.get().frequencies.row_um(3600)[0] == factory.um(0.5)


def test_a_table_without_a_name_is_asked_for_one_and_stays_on_the_page(coordinator):
    sent = {"text": table_file(), "name": " "}
    answer = coordinator.post(reverse("rain:frequency_keep"), sent)
    assert "Say for which place the table is." in answer.content.decode()
    assert answer.context["form"]["text"].value() == sent["text"]
    assert not FrequencyTable.objects.exists()


def test_depths_are_shown_in_the_units_of_the_program(cast, coordinator):
    factory.make_program(units="metric")
    table = factory.make_frequency_table()
    assert "12.7 mm" in coordinator.get(PAGE + f"{table.pk}/").content.decode()


def test_a_table_is_withdrawn_on_its_page(cast, coordinator):
    table = factory.make_frequency_table()
    withdraw = reverse("rain:frequency_withdraw", args=[table.pk])
    answer = coordinator.post(withdraw, follow=True).content.decode()
    assert "No storm is compared with Palo Azul any more." in answer
    assert "No longer in use" in answer
    assert "not in use any more" in coordinator.post(withdraw, follow=True).content.decode()


def test_a_replaced_table_leads_to_what_took_its_place(cast, coordinator):
    old = factory.make_frequency_table()
    new = factory.make_frequency_table(table_file(annual=True))
    page = coordinator.get(PAGE + f"{old.pk}/").content.decode()
    assert reverse("rain:frequency", args=[new.pk]) in page
    assert "Withdraw the table" not in page


def test_storms_lead_to_the_tables(coordinator):
    assert PAGE in coordinator.get("/rain/storms/").content.decode()


#: what is wrong with a file, and the words that the page answers with
SENTENCES = {
    "nothing in it": "The file is empty.",
    "blank lines only": "The file is empty.",
    "a web page": "The file is a web page, not the table itself.",
    "the answer for a place outside the coverage": "NOAA Atlas 14 does not cover that place",
    "readings of a gauge": "This is no table of rain frequencies",
    "no unit": "do not make clear whether the depths are in inches or millimetres",
    "an unknown unit": "or per hour (“furlongs”).",
    "a unit that fits no intensity": "“inches, Precipitation intensity”",
    "no source": "This is no table of rain frequencies",
    "no latitude": "do not say where the table is for (“None”).",
    "a longitude off the globe": "do not say where the table is for (“-1906.2 Degree”).",
    "a bound of the estimates only": "The file holds a bound of the estimates",
    "no table at all": "The table’s heading with the years is missing.",
    "years that fall": "Line 14: “1, 5, 2, 10",
    "chances turned into dates": "Line 14: “5-Jan” in the heading is no number of years.",
    "broken off in the middle of a row": "Line 19: “60-min” does not have one depth for each",
    "broken off between two rows": "The row “24-hr” is missing. Was the file cut off?",
    "a word for a depth": "Line 19: “some” is not a depth.",
    "a depth below zero": "Line 19: “-9.0” is not a depth.",
    "a row that is none": "Line 19: “sixty” is no duration of the table",
    "a row twice": "Line 20: “60-min” is no duration of the table",
    "a rarer rain that is smaller": "Line 19: a rarer rain, or a longer one, cannot be smaller.",
    "every rain the same": "Line 19: a rarer rain, or a longer one, cannot be smaller.",
    "less rain in a longer time": "Line 20: a rarer rain, or a longer one, cannot be smaller.",
}


def test_every_broken_file_has_its_sentence():
    assert set(SENTENCES) == set(BROKEN)


@pytest.mark.parametrize("name", SENTENCES)
def test_a_broken_file_gets_one_clear_sentence_and_nothing_is_kept(coordinator, name):
    answer = hand_in(coordinator, BROKEN[name][0])
    (said,) = answer.context["form"].errors["file"]
    assert SENTENCES[name] in said
    assert not FrequencyTable.objects.exists()


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"PK\x03\x04 a workbook", "a spreadsheet, a picture or a PDF, not text"),
        (b"%PDF-1.7 ...", "a spreadsheet, a picture or a PDF, not text"),
        (b"Point\x00precipitation", "a spreadsheet, a picture or a PDF, not text"),
        (b"\xff\xfe" + b"\x00\xd8\x00", "not readable as text"),
        (b"x" * 100_001, "far larger than the table of one point"),
    ],
)
def test_a_file_that_is_no_text_is_refused_in_words(coordinator, content, sentence):
    (said,) = hand_in(coordinator, content).context["form"].errors["file"]
    assert sentence in said


def test_a_file_saved_as_utf_16_is_read(coordinator):
    assert "Nothing is kept yet" in hand_in(coordinator, table_file().encode("utf-16")).content.decode()  # fmt: skip


@pytest.mark.parametrize("text", ["", OUTSIDE, WEB_PAGE, table_file()[:900]])
def test_a_preview_that_was_tampered_with_is_refused(coordinator, text):
    sent = {"text": text, "name": "Town"}
    answer = coordinator.post(reverse("rain:frequency_keep"), sent, follow=True)
    assert answer.redirect_chain and not FrequencyTable.objects.exists()
    assert len(list(answer.context["messages"])) == 1


def test_a_table_from_far_away_is_refused_on_the_page(cast, coordinator):
    factory.make_gauge()
    (said,) = hand_in(coordinator, table_file(lat="44.5 Degree")).context["form"].errors["file"]
    assert "from your nearest site or gauge" in said
