"""The yearly report: asked for, built once, frozen, accessible."""

import hashlib
from datetime import date, timedelta
from io import BytesIO

import pikepdf
import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from stewardship.common.errors import Refused
from stewardship.reports import services
from stewardship.reports.models import Report
from stewardship.reports.services import build_report, build_requested, request_report
from stewardship.reports.tasks import sweep_reports
from tests import factory

LIST = reverse("reports:list")


@pytest.fixture(autouse=True)
def _day(frozen_day):
    pass


@pytest.fixture
def year(cast):
    """2025 with something of everything."""
    factory.make_care_rule()
    for n, month in enumerate((3, 7, 8)):
        storm = factory.make_storm(factory.at(date(2025, month, 5), "15:00"), depth_in=0.3 + n / 10)
        factory.make_site_rain(storm, cast.site, depth_in=0.3 + n / 10, water={})
    factory.make_visit(cast.site, date(2025, 7, 8), findings=[("trap", "act")], litres=9)
    factory.make_duty(
        cast.site,
        trigger="finding",
        opened_on=date(2025, 7, 8),
        reason={"item": "trap", "judgement": "act"},
        state="met",
        closed_on=date(2025, 7, 10),
    )
    return cast


def ask(**changes) -> Report:
    asked = {
        "starts_on": date(2025, 1, 1),
        "ends_on": date(2025, 12, 31),
        "language": "en",
        "today": factory.TODAY,
    }
    return request_report(**(asked | changes))


def issued(**changes) -> Report:
    report = ask(**changes)
    assert build_report(pk=report.pk)
    report.refresh_from_db()
    return report


def text_of(report: Report) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(report.content)).pages)


def test_t31_the_issued_report_holds_figures_bytes_hash_and_history(year):
    report = issued()
    assert report.state == "issued"
    assert report.sha256 == hashlib.sha256(report.content).hexdigest()
    assert report.pages == len(PdfReader(BytesIO(report.content)).pages)
    assert [event.became for event in report.events.all()] == ["requested", "building", "issued"]
    words = " ".join(text_of(report).split())
    assert "Built on the last day: 2; of these under an agreement in force: 2." in words
    assert (
        "Found wanting: 1. Follow-ups opened: 1; put right in time: 1, late: 0, overdue: 0."
        in words
    )
    assert "Certification" in words
    assert "local code and licensed practice decide" in words


def test_the_pdf_is_tagged_titled_and_in_its_language(year):
    # ISO 14289-1 (PDF/UA-1) §5, §7.1, §7.2: identifier, tags, title shown, language
    with pikepdf.open(BytesIO(issued().content)) as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert "/StructTreeRoot" in pdf.Root
        assert str(pdf.Root.Lang) == "en"
        assert pdf.Root.ViewerPreferences.DisplayDocTitle
        with pdf.open_metadata() as meta:
            assert meta["pdfuaid:part"] == "1"
            assert "2025" in meta["dc:title"]
        kinds = str(list(_tags(pdf.Root.StructTreeRoot)))
        for tag in ("H1", "H2", "Table", "TH", "Figure"):
            assert f"/{tag}" in kinds


def _tags(node, depth: int = 0):
    if depth > 40 or not isinstance(node, pikepdf.Dictionary):
        return
    if "/S" in node:
        yield str(node.S)
    kids = node.get("/K")
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        yield from _tags(kid, depth + 1)


def test_t30_a_late_entry_does_not_rewrite_an_issued_report(year):
    report = issued()
    before = (bytes(report.content), report.figures)
    factory.make_visit(year.site, date(2025, 11, 1), entered_at=timezone.now())
    assert build_requested() == 0
    report.refresh_from_db()
    assert (bytes(report.content), report.figures) == before
    again = issued()
    assert again.pk != report.pk
    assert [f["value"] for g in again.figures["groups"] for f in g["figures"]] != [
        f["value"] for g in before[1]["groups"] for f in g["figures"]
    ]


def test_a_report_over_an_empty_book_still_says_so(program):
    words = text_of(issued())
    assert "No site stood built." in words
    assert "No storm was found" in words


def test_an_agencys_report_names_only_its_sites(year):
    report = issued(agency=year.other_agency)
    words = text_of(report)
    assert "ELM-2" in words
    assert "OAK-1" not in words


def test_a_running_year_says_as_of_which_day(year):
    report = issued(starts_on=date(2026, 1, 1), ends_on=date(2026, 12, 31))
    assert "as of 15 Jul 2026" in " ".join(text_of(report).split())


@pytest.mark.parametrize(
    ("starts_on", "ends_on", "words"),
    [
        (date(2025, 12, 31), date(2025, 1, 1), "ends before it starts"),
        (date(2024, 1, 1), date(2025, 12, 31), "a year at most"),
        (date(2027, 1, 1), date(2027, 12, 31), "not begun"),
    ],
)
def test_a_period_that_cannot_be_is_refused_at_the_form(
    cast, coordinator, starts_on, ends_on, words
):
    with pytest.raises(Refused, match=words):
        ask(starts_on=starts_on, ends_on=ends_on)
    response = coordinator.post(
        reverse("reports:new"), {"starts_on": starts_on, "ends_on": ends_on, "language": "en"}
    )
    assert words in response.content.decode()
    assert f'value="{starts_on}"' in response.content.decode()
    assert not Report.objects.exists()


def test_a_leap_year_is_a_year(cast):
    assert ask(starts_on=date(2024, 1, 1), ends_on=date(2024, 12, 31)).pk


def test_asking_twice_while_it_is_under_way_is_asking_once(cast):
    assert ask().pk == ask().pk
    assert ask(agency=cast.agency).pk == ask(agency=cast.agency).pk
    assert Report.objects.count() == 2


def test_the_request_is_built_by_the_sweep_and_downloaded(year, coordinator):
    coordinator.post(
        reverse("reports:new"),
        {"starts_on": "2025-01-01", "ends_on": "2025-12-31", "language": "en", "agency": ""},
    )
    report = Report.objects.get()
    assert report.requested_by == year.coordinator
    assert "being built" in coordinator.get(LIST).content.decode()
    assert coordinator.get(reverse("reports:file", args=[report.pk])).status_code == 404
    assert sweep_reports() == 1
    assert sweep_reports() == 0
    response = coordinator.get(reverse("reports:file", args=[report.pk]))
    assert response["Content-Type"] == "application/pdf"
    assert hashlib.sha256(response.content).hexdigest() == Report.objects.get().sha256


def test_the_page_of_an_issued_report_shows_the_rows_behind_each_figure(year, coordinator):
    report = issued()
    page = coordinator.get(reverse("reports:detail", args=[report.pk])).content.decode()
    assert "Sites found wanting" in page
    assert "8 Jul 2025 Sediment trap: Act" in page
    rows = coordinator.get(reverse("reports:rows", args=[report.pk]))
    text = b"".join(rows.streaming_content).decode("utf-8-sig")
    assert "Sites found wanting,record,,2025-07-08,OAK-1" in text


def test_a_report_that_fails_says_so_and_the_next_one_is_still_built(
    year, coordinator, monkeypatch
):
    broken, fine = ask(), ask(agency=year.agency)
    gather = services.gather

    def breaks(*, period, agency):
        if agency is None:
            raise RuntimeError("no ink")
        return gather(period=period, agency=agency)

    monkeypatch.setattr(services, "gather", breaks)
    assert build_requested() == 1
    broken.refresh_from_db()
    fine.refresh_from_db()
    assert (broken.state, fine.state) == ("failed", "issued")
    page = coordinator.get(LIST).content.decode()
    assert "could not be built" in page
    assert "no ink" not in page


def test_two_builders_issue_a_report_once(year):
    report = ask()
    assert build_report(pk=report.pk)
    assert not build_report(pk=report.pk)
    assert report.events.filter(became="issued").count() == 1


def test_a_report_whose_builder_died_is_built_by_the_next(year, frozen_day):
    report = ask()
    Report.objects.filter(pk=report.pk).update(state="building", taken_at=timezone.now())
    assert build_requested() == 0
    frozen_day.shift(timedelta(minutes=11))
    assert build_requested() == 1
    report.refresh_from_db()
    assert report.state == "issued"


def test_a_builder_that_was_given_up_does_not_overwrite_its_successor(year, monkeypatch):
    report = ask()
    make = services._make

    def slow(own, *, made_at):
        # meanwhile the sweep gave the report to somebody else
        Report.objects.filter(pk=report.pk).update(taken_at=made_at + timedelta(minutes=11))
        return make(own, made_at=made_at)

    monkeypatch.setattr(services, "_make", slow)
    assert not build_report(pk=report.pk)
    report.refresh_from_db()
    assert report.state == "building"
    assert report.content is None


def test_a_reviewer_reads_issued_reports_of_the_own_agency_only(year, client_of):
    own, other, whole = issued(agency=year.agency), issued(agency=year.other_agency), issued()
    waiting = ask(agency=year.agency, starts_on=date(2024, 1, 1), ends_on=date(2024, 12, 31))
    reviewer = client_of("reviewer")
    codes = {
        report.pk: reviewer.get(reverse("reports:file", args=[report.pk])).status_code
        for report in (own, other, whole, waiting)
    }
    assert codes == {own.pk: 200, other.pk: 404, whole.pk: 404, waiting.pk: 404}
    page = reviewer.get(LIST)
    assert [row.record.pk for row in page.context["table"].rows] == [own.pk]
    assert "Build the report" not in page.content.decode()
