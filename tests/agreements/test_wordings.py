"""Writing the texts of agreements: versions, placeholders, counsel, putting to use."""

import pytest
from django.db import IntegrityError, transaction

from people.models import Program
from stewardship.agreements import services
from stewardship.agreements.comparing import changes
from stewardship.agreements.models import Wording
from stewardship.agreements.services import wordings
from stewardship.common.errors import Refused
from tests.agreements.conftest import OFFERED_ON, drafted, offered
from tests.agreements.test_agreement_pages import text_of

pytestmark = pytest.mark.django_db


def today():
    return Program.get().today()


def begun(coordinator, instrument="care_agreement", language="en"):
    coordinator.post(f"/agreements/wordings/{instrument}/{language}/next/")
    return Wording.objects.get(instrument=instrument, language=language, in_use_since__isnull=True)


def write(coordinator, wording, **changed):
    facts = {"title": wording.title, "summary": wording.summary, "body": wording.body} | changed
    return coordinator.post(f"/agreements/wordings/{wording.pk}/edit/", facts)


class TestThePath:
    def test_the_next_version_begins_as_a_copy_and_is_offered_only_once_in_use(
        self, folk, coordinator
    ):
        agreement, _ = offered(folk)
        wording = begun(coordinator)
        assert (wording.version, wording.body) == (2, agreement.wording.body)
        assert (
            write(coordinator, wording, body="New words for {parties} at {sites}.").status_code
            == 302
        )
        services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        agreement.refresh_from_db()
        assert agreement.wording.version == 1
        response = coordinator.post(
            f"/agreements/wordings/{wording.pk}/use/", {"on": today().isoformat()}
        )
        assert response.status_code == 302
        services.offer_agreement(agreement=agreement, on=today())
        agreement.refresh_from_db()
        assert agreement.wording.version == 2

    def test_begun_twice_it_is_one(self, coordinator):
        assert begun(coordinator) == begun(coordinator)

    def test_an_unknown_placeholder_is_named_at_its_field_and_nothing_typed_is_lost(
        self, coordinator
    ):
        wording = begun(coordinator)
        response = write(coordinator, wording, title="Mine", body="Signed at {plaice}.")
        assert response.status_code == 422
        words = text_of(response)
        assert "“plaice” in braces means nothing here; these do: program," in words
        assert response.context["form"]["body"].errors
        assert "Signed at {plaice}." in words and "Mine" in response.content.decode()
        wording.refresh_from_db()
        assert "plaice" not in wording.body

    def test_what_is_in_use_is_not_changed(self, coordinator):
        wording = Wording.objects.get(instrument="covenant", language="en")
        response = write(coordinator, wording, title="Other")
        assert response.status_code == 422
        assert "Version 1 is in use and is not changed any more" in text_of(response)
        with pytest.raises(Refused, match="is in use"):
            wordings.drop_wording(wording=wording)

    def test_the_page_shows_what_changed_word_by_word(self, coordinator):
        wording = begun(coordinator)
        write(coordinator, wording, body=wording.body + "\n\nA line put in for {parties}.")
        page = coordinator.get(f"/agreements/wordings/{wording.pk}/").content.decode()
        assert "<ins>" in page and "A line put in for {parties}." in page
        assert "[everybody who signs, and as what]" in page

    def test_a_text_that_names_nobody_says_so(self, coordinator):
        wording = begun(coordinator)
        write(coordinator, wording, body="Care for it.")
        words = text_of(coordinator.get(f"/agreements/wordings/{wording.pk}/"))
        assert "The text does not say {parties}: everybody who signs" in words

    def test_counsel_is_asked_for_until_it_has_reviewed_and_again_after_a_change(self, coordinator):
        wording = begun(coordinator)
        address = f"/agreements/wordings/{wording.pk}/"
        assert "Have counsel review this wording" in text_of(coordinator.get(address))
        coordinator.post(
            f"{address}review/", {"by_whom": "Tamsin Orrell", "reviewed_on": OFFERED_ON.isoformat()}
        )
        words = text_of(coordinator.get(address))
        assert "Reviewed by Tamsin Orrell" in words and "Have counsel review this" not in words
        write(coordinator, wording, title="Another title")
        assert "Have counsel review this wording" in text_of(coordinator.get(address))

    def test_a_version_may_be_thrown_away_before_it_is_used(self, coordinator):
        wording = begun(coordinator)
        coordinator.post(f"/agreements/wordings/{wording.pk}/drop/")
        assert not Wording.objects.filter(pk=wording.pk).exists()

    def test_a_day_that_has_passed_is_refused(self, coordinator):
        wording = begun(coordinator)
        response = coordinator.post(f"/agreements/wordings/{wording.pk}/use/", {"on": "2026-01-01"})
        assert response.status_code == 422
        assert "That day has passed" in text_of(response)

    def test_a_translation_older_than_the_english_is_marked(self, coordinator):
        wording = begun(coordinator)
        coordinator.post(f"/agreements/wordings/{wording.pk}/use/", {"on": today().isoformat()})
        assert "older than the English one" in text_of(coordinator.get("/agreements/wordings/"))


def test_one_version_at_a_time_is_being_written(folk):
    first = wordings.begin_wording(instrument="licence", language="es")
    with pytest.raises(IntegrityError), transaction.atomic():
        Wording.objects.create(
            instrument="licence", language="es", version=9, title="T", in_use_since=None
        )
    Wording.objects.create(
        instrument="licence", language="en", version=9, title="T", in_use_since=None
    )
    assert first.in_use_since is None


def test_counsel_and_its_day_go_together():
    wording = Wording.objects.first()
    with pytest.raises(IntegrityError), transaction.atomic():
        Wording.objects.filter(pk=wording.pk).update(reviewed_by="Somebody")
    Wording.objects.filter(pk=wording.pk).update(reviewed_by="Somebody", reviewed_on=OFFERED_ON)


def test_without_a_wording_in_use_nothing_is_drafted(folk):
    Wording.objects.filter(instrument="care_agreement").update(in_use_since="2030-01-01")
    with pytest.raises(Refused, match="There is no wording for"):
        drafted(folk, ("owner", "owner"))


def test_pieces_of_a_comparison_put_both_texts_together_again():
    before, after = "one two three\n\nfour", "one 2 three\n\nfour five"
    pieces = changes(before, after)
    assert "".join(p.text for p in pieces if p.how != "gone") == after
    assert "".join(p.text for p in pieces if p.how != "new") == before
