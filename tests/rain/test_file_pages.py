"""Pages of an uploaded file: what they say before anything is written, what can be changed there, and taking back."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from stewardship.rain.choices import FileState
from stewardship.rain.models import Gauge, Reading, ReadingBatch, ReadingFile
from stewardship.rain.services import carry_on_files, files
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]

CLUMSY = "date;rain\n05/07/2026 15:00;4\n05/07/2026 16:00;0,1\n05/07/2026 17:00;x\n"


@pytest.fixture
def gauge(program) -> Gauge:
    return factory.make_gauge()


def upload(browser: Client, gauge: Gauge | None, text: str) -> ReadingFile:
    answer = browser.post(
        reverse("rain:import"),
        {
            "gauge": gauge.pk if gauge else "",
            "file": SimpleUploadedFile("clumsy.csv", text.encode()),
        },
    )
    assert answer.status_code == 302
    return ReadingFile.objects.latest("pk")


def look_at(browser: Client, file: ReadingFile):
    page = browser.get(reverse("rain:file", args=[file.pk]))
    assert page.status_code == 200
    return page


def say(browser: Client, file: ReadingFile, **what: str):
    form = look_at(browser, file).context["form"]
    shown = {name: form[name].value() or "" for name in form.fields}
    return browser.post(reverse("rain:file_look", args=[file.pk]), shown | what, follow=True)


def take(browser: Client, file: ReadingFile):
    file.refresh_from_db()
    return browser.post(
        reverse("rain:file_take", args=[file.pk]),
        {"seen": file.looked_at.isoformat() if file.looked_at else ""},
        follow=True,
    )


def words(page) -> str:
    return " ".join(page.content.decode().split())


def test_the_page_shows_how_the_file_is_understood_before_anything_is_written(coordinator, gauge):
    text = "time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,T\n2026-07-14 15:30,-4\n2026-07-14 15:45,1\n"
    page = look_at(coordinator, upload(coordinator, gauge, text))
    said = words(page)
    assert "Times from “time”, each the end of 15 min; depths from “rain” in inches." in said
    rows = [(one.row.line, one.text, one.words) for one in page.context["preview"].rows]
    assert rows[:2] == [(2, "2026-07-14 15:00,0.10", "0.10 in"), (3, "2026-07-14 15:15,T", "Trace")]
    assert "“-4” is below zero; rain is not." in said
    assert page.context["totals"] == {"added": 3, "same": 0, "corrected": 0, "rejected": 1}
    assert "1.10 in" in said
    assert not Reading.objects.exists()
    assert not ReadingBatch.objects.exists()


def test_a_guess_that_is_changed_is_kept_and_the_others_stay_guesses(coordinator, gauge):
    file = upload(coordinator, gauge, CLUMSY)
    page = look_at(coordinator, file)
    assert page.context["form"]["dates"].value() == "mdy"
    page = say(coordinator, file, dates="dmy", unit="mm")
    file.refresh_from_db()
    assert {name for name, said in file.wishes.items() if said} == {"dates", "unit"}
    assert page.context["form"]["dates"].value() == "dmy"
    assert page.context["form"]["step"].value() == "1h"
    first = page.context["preview"].rows[0]
    assert (f"{first.end_at:%m-%d}", first.words) == ("07-05", "0.16 in")
    page = say(coordinator, file, dates="")
    file.refresh_from_db()
    assert {name for name, said in file.wishes.items() if said} == {"unit"}


def test_what_was_typed_wrongly_is_answered_and_not_lost(coordinator, gauge):
    file = upload(coordinator, gauge, CLUMSY)
    page = say(coordinator, file, zone="Denver", step="15m")
    said = words(page)
    assert "“Denver” is not a time zone" in said
    assert 'value="Denver"' in said
    assert 'value="15m"' in said
    assert "Take it in" not in said
    page = say(coordinator, file, unit="furlongs", step="1d")
    assert list(page.context["form"].errors) == ["unit"]
    assert page.context["form"]["step"].value() == "1d"


def test_all_rejected_rows_come_as_csv_and_nothing_is_written(coordinator, gauge):
    lines = [f"2026-07-{day:02} {hour:02}:00,-1" for day in range(1, 5) for hour in range(24)]
    text = "\n".join(["time,rain", "2026-06-30 22:00,0.1", "2026-06-30 23:00,0.1", *lines])
    file = upload(coordinator, gauge, text)
    assert "The first 50 are shown." in words(look_at(coordinator, file))
    rows = coordinator.get(reverse("rain:file_rejected", args=[file.pk])).getvalue().decode()
    assert len(rows.splitlines()) == 97
    assert rows.splitlines()[1].startswith("4,G1,")
    assert not ReadingBatch.objects.exists()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "time,rain\n2026-07-14 15:00,12\n2026-07-14 16:00,7\n2026-07-14 17:00,3\n",
            "G1 would have 22.00 in on Tue 14 Jul, which is hardly ever seen. Is the unit right?",
        ),
        (
            "time,rain\n" + "\n".join(f"2026-07-{d:02} 12:00,0.1" for d in range(12, 19)),
            "3 rows for G1 end after now.",
        ),
        (
            "time,rain\n" + "\n".join(f"2026-07-13 {h:02}:00,0" for h in range(24)),
            "G1 would be dry all the time.",
        ),
        (
            "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,x\n",
            "Half of the rows or more would not be taken in.",
        ),
    ],
)
def test_what_should_make_one_look_twice_is_said(coordinator, gauge, text, sentence):
    page = look_at(coordinator, upload(coordinator, gauge, text))
    assert sentence in words(page)
    assert "Take it in" in words(page), "a warning is no refusal"


def test_readings_of_the_same_time_that_the_file_does_not_name_are_told_of(coordinator, gauge):
    take(coordinator, upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,0\n2026-07-14 17:00,0.2\n"))  # fmt: skip
    file = upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.3\n2026-07-14 17:00,0.2\n")
    page = say(coordinator, file, step="1h")
    said = words(page)
    assert "Of that time the book has 1 reading of G1 of which the file says nothing." in said
    assert "0.10 in" in said, "what a correction takes the place of"
    assert "0.30 in" in said


def test_taking_in_leads_to_the_batch(coordinator, cast, gauge):
    page = take(
        coordinator,
        upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,0\n"),
    )
    batch = ReadingBatch.objects.get()
    assert page.redirect_chain[-1][0] == reverse("rain:batch", args=[batch.pk])
    assert "Rosa Lind" in words(page)
    assert "in the book" in words(look_at(coordinator, batch.file))


def test_a_large_file_says_how_far_it_is_and_then_what_became_of_it(
    coordinator, gauge, monkeypatch
):
    monkeypatch.setattr(files, "AT_ONCE_BYTES", 0)
    file = upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,0\n")
    said = words(look_at(coordinator, file))
    assert "The whole file is being looked through; nothing is written." in said
    assert "Times from “time”" in said, "how it is understood is known at once"
    assert "Take it in" not in said
    assert '<noscript><meta http-equiv="refresh"' in said
    carry_on_files()
    said = words(look_at(coordinator, file))
    assert "http-equiv" not in said
    assert "The file is being taken in." in words(take(coordinator, file))
    files._progress(file.pk)(50_000)
    assert "50,000 of 2 rows read." in words(look_at(coordinator, file)) or (
        "50000 of 2 rows read." in words(look_at(coordinator, file))
    )
    carry_on_files()
    assert "in the book" in words(look_at(coordinator, file))


def test_a_stale_yes_is_not_taken(coordinator, gauge, frozen_day):
    file = upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,0\n")
    seen = file.looked_at.isoformat()
    frozen_day.shift(timedelta(minutes=1))
    say(coordinator, file, unit="mm")
    page = coordinator.post(reverse("rain:file_take", args=[file.pk]), {"seen": seen}, follow=True)
    assert "The file was looked through again since." in words(page)
    assert not Reading.objects.exists()


def test_a_file_can_be_thrown_away(coordinator, gauge):
    file = upload(coordinator, gauge, CLUMSY)
    page = coordinator.post(reverse("rain:file_drop", args=[file.pk]), follow=True)
    assert "clumsy.csv was thrown away" in words(page)
    assert not ReadingFile.objects.exists()


def test_what_waits_is_on_the_list_of_the_one_who_brought_it(coordinator, cast, gauge):
    today = reverse("today")
    assert "clumsy.csv" not in words(coordinator.get(today))
    file = upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,0\n")
    page = words(coordinator.get(today))
    assert "clumsy.csv" in page
    assert reverse("rain:file", args=[file.pk]) in page
    other = Client()
    other.force_login(
        factory.make_user("coordinator", email="second@example.org"),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    assert "clumsy.csv" not in words(other.get(today))
    take(coordinator, file)
    assert "clumsy.csv" not in words(coordinator.get(today))


def test_a_file_may_say_which_gauge_is_which(coordinator, program):
    factory.make_gauge("north")
    factory.make_gauge("south")
    lines = ["time,north,south"] + [f"2026-07-14 {h:02}:00,0.1,0.2" for h in range(1, 9)]
    file = upload(coordinator, None, "\n".join(lines))
    said = words(look_at(coordinator, file))
    assert "one column for each gauge" in said
    said = words(take(coordinator, file))
    assert said.count("in the book") == 2


def test_a_file_that_was_taken_back_says_so_everywhere(coordinator, cast, gauge):
    file = upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 16:00,0\n")
    take(coordinator, file)
    batch = ReadingBatch.objects.get()
    undo = reverse("rain:batch_undo", args=[batch.pk])
    page = coordinator.get(undo)
    assert page.context["plan"].removed == 2
    assert Reading.objects.count() == 2
    page = coordinator.post(undo, {"why": ""})
    assert "Say why it is taken back." in words(page)
    assert Reading.objects.count() == 2
    page = coordinator.post(undo, {"why": "Wrong gauge"}, follow=True)
    assert not Reading.objects.exists()
    said = words(page)
    assert "Taken back" in said
    assert "Rosa Lind: Wrong gauge" in said
    assert "Take this file back" not in said
    assert "taken back" in words(look_at(coordinator, file)).lower()
    file.refresh_from_db()
    assert file.state == FileState.UNDONE
    page = coordinator.post(undo, {"why": "Again"}, follow=True)
    assert "It was taken back already" in words(page)
    assert "taken back" in words(coordinator.get(reverse("rain:gauge", args=["G1"])))
