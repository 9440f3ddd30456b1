"""T11: which agreements expire, need a landlord's renewal, lack a recorder's number or a certificate this quarter."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, InstrumentKind
from stewardship.agreements.models import Agreement
from stewardship.agreements.renewals import Quarter
from stewardship.agreements.tasks import sweep_terms
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from stewardship.outbox.services import stop_reminders
from stewardship.outbox.writing import write
from tests import factory
from tests.agreements.conftest import OFFERED_ON, in_force, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

PAGE = "/agreements/renewals/"
OWNER_AND_AGENCY = (("owner", "owner"), ("officer", "agency_officer"))
TODAY = factory.TODAY
#: the last day of the present quarter is 30 September 2026
SOON = date(2026, 9, 1)


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def ends(agreement, day: date) -> Agreement:
    """Its term is over that day."""
    Agreement.objects.filter(pk=agreement.pk).update(ends_on=day)
    agreement.responsibilities.update(ends_on=day)
    agreement.refresh_from_db()
    return agreement


def lines(response) -> list[tuple[str, str]]:
    return [
        (line.agreement.reference, line.what)
        for month in response.context["months"]
        for line in month.lines
    ]


class TestTheQueue:
    @pytest.fixture
    def three(self, folk):
        plain = ends(in_force(folk), SOON)
        let = ends(
            in_force(folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")),
            SOON + timedelta(days=7),
        )
        covenant = in_force(folk, *OWNER_AND_AGENCY, instrument=InstrumentKind.COVENANT)
        return plain, let, covenant

    def test_t11_ends_landlords_recorders_numbers_and_certificates_by_month(
        self, three, coordinator
    ):
        plain, let, covenant = three
        insurance = services.add_requirement(agreement=plain, kind="insurance")
        services.meet_requirement(requirement=insurance, on=TODAY, valid_until=date(2026, 8, 20))
        response = coordinator.get(PAGE)
        assert [month.heading for month in response.context["months"]] == [
            "July 2026",
            "August 2026",
            "September 2026",
        ]
        assert lines(response) == [
            (covenant.reference, "Recorder’s number is missing"),
            (plain.reference, "Insurance certificate runs out"),
            (plain.reference, "Runs out"),
            (let.reference, "Runs out; the landlord has to renew it"),
        ]

    def test_t11_each_of_the_four_can_be_asked_for_alone(self, three, coordinator):
        plain, let, covenant = three
        assert lines(coordinator.get(f"{PAGE}?what=ends")) == [
            (plain.reference, "Runs out"),
            (let.reference, "Runs out; the landlord has to renew it"),
        ]
        assert [name for name, _what in lines(coordinator.get(f"{PAGE}?what=recording"))] == [
            covenant.reference
        ]
        assert lines(coordinator.get(f"{PAGE}?what=insurance")) == []

    def test_t11_another_quarter_shows_only_what_falls_into_it(self, three, coordinator):
        assert lines(coordinator.get(f"{PAGE}?quarter=2026-4")) == []
        assert lines(coordinator.get(f"{PAGE}?quarter=2026-3")) == lines(coordinator.get(PAGE))

    def test_a_quarter_that_is_none_shows_the_present_one(self, three, coordinator):
        for text in ("2026-5", "x", "", "99999999-1", "2026-", "２０２６-1"):
            assert coordinator.get(PAGE, {"quarter": text}).context["quarter"] == Quarter(2026, 3)

    def test_what_is_late_stands_first(self, folk, coordinator):
        agreement = ends(in_force(folk), date(2026, 7, 10))
        (month,) = coordinator.get(PAGE).context["months"]
        assert (month.heading, month.lines[0].what) == ("Late", "Ran out")
        assert agreement.state == AgreementState.IN_FORCE

    def test_it_downloads_as_csv(self, three, coordinator):
        rows = b"".join(coordinator.get(f"{PAGE}?_export=csv").streaming_content).decode()
        assert three[1].reference in rows
        assert "Runs out; the landlord has to renew it" in rows
        assert "Bram Okello; Odile Farrow" in rows

    def test_more_agreements_cost_no_more_queries(self, folk, coordinator):
        ends(in_force(folk), SOON)

        def count() -> int:
            with CaptureQueriesContext(connection) as seen:
                coordinator.get(PAGE)
            return len(seen)

        before = count()
        for _ in range(3):
            ends(in_force(folk), SOON)
        assert count() == before


class TestTheNextOne:
    def test_t11_it_has_the_same_parties_sites_and_terms_and_takes_over_on_its_day(
        self, folk, coordinator
    ):
        old = ends(in_force(folk), SOON)
        Agreement.objects.filter(pk=old.pk).update(cure_days=45, notices_by="certified")
        response = coordinator.post(f"/agreements/{old.pk}/next/", follow=True)
        draft = Agreement.objects.get(supersedes=old)
        assert f"/agreements/{old.pk}/" in text_of(response)
        assert (draft.state, draft.begins_on) == (AgreementState.DRAFT, SOON)
        assert (draft.cure_days, draft.notices_by) == (45, "certified")
        assert [(p.person, p.capacity) for p in draft.parties.all()] == [
            (p.person, p.capacity) for p in old.parties.all()
        ]
        document = services.offer_agreement(agreement=draft, on=TODAY)
        for capacity in ("owner", "program"):
            sign(draft, document, capacity, on=TODAY)
        old.refresh_from_db()
        # signed ahead of time: the old one binds until its day, the new one from then on
        assert (old.state, old.ends_on) == (AgreementState.IN_FORCE, SOON)
        assert draft.begins_on == SOON
        rows = folk.site.responsibilities.filter(role="does").order_by("starts_on")
        assert [(row.agreement, row.starts_on, row.ends_on) for row in rows] == [
            (old, OFFERED_ON, SOON),
            (draft, SOON, date(2031, 9, 1)),
        ]
        assert lines(coordinator.get(PAGE)) == []
        page = text_of(coordinator.get(f"/agreements/{old.pk}/"))
        assert f'Its place is taken by</dt><dd><a href="/agreements/{draft.pk}/">' in page

    def test_one_without_an_end_is_replaced_the_day_the_new_one_begins(self, folk):
        old = in_force(folk, *OWNER_AND_AGENCY, instrument=InstrumentKind.COVENANT)
        draft = services.renew_agreement(agreement=old)
        assert draft.begins_on is None
        document = services.offer_agreement(agreement=draft, on=TODAY)
        for capacity in ("owner", "agency_officer"):
            sign(draft, document, capacity, on=TODAY)
        old.refresh_from_db()
        assert (old.state, old.ends_on) == (AgreementState.ENDED, TODAY)
        assert old.ended_why == f"Replaced by {draft.reference}"
        assert not old.responsibilities.filter(ends_on=None).exists()
        folk.site.refresh_from_db()
        assert folk.site.stage == "agreed"

    def test_there_is_one_next_one(self, folk, coordinator):
        old = in_force(folk)
        draft = services.renew_agreement(agreement=old)
        with pytest.raises(Refused, match=f"{draft.reference} takes the place of"):
            services.renew_agreement(agreement=old)
        assert f"{draft.reference} takes the place of" in text_of(
            coordinator.post(f"/agreements/{old.pk}/next/", follow=True)
        )
        services.end_agreement(agreement=draft, on=TODAY, why="Thought better of it")
        assert services.renew_agreement(agreement=old) != draft

    def test_a_draft_has_no_next_one(self, folk):
        draft = services.draft_agreement(instrument="covenant")
        with pytest.raises(Refused, match="never came into force"):
            services.renew_agreement(agreement=draft)

    def test_who_died_is_not_named_again(self, folk):
        old = in_force(folk)
        folk.owner.died_on = folk.owner.silent_since = TODAY
        folk.owner.silent_why = "died"
        folk.owner.save()
        draft = services.renew_agreement(agreement=old)
        assert [p.person for p in draft.parties.all()] == [folk.program]


class TestLetters:
    @pytest.fixture
    def let(self, folk):
        made = in_force(
            folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
        )
        return ends(made, SOON)

    def test_each_is_written_to_in_their_language_and_on_their_channel_once_per_term(
        self, folk, let, coordinator
    ):
        folk.landlord.language = "es"
        folk.landlord.save()
        folk.tenant.contact_points.create(kind="postal", value="9 Alder Row")
        folk.tenant.channel = "letter"
        folk.tenant.save()
        posted = {"agreement": let.pk, "quarter": "2026-3"}
        page = text_of(coordinator.post(f"{PAGE}letters/", posted, follow=True))
        assert "2 letters are in the outbox." in page
        assert "2 were written to" in page
        letters = Message.objects.filter(template="renewal").order_by("pk")
        assert [(m.channel, m.language, m.to_name) for m in letters] == [
            ("letter", "en", "Bram Okello"),
            ("email", "es", "Odile Farrow"),
        ]
        assert "runs out on Tue 1 Sep" in write(letters[0]).html
        page = text_of(coordinator.post(f"{PAGE}letters/", posted, follow=True))
        assert "0 letters are in the outbox. 2 were written to before." in page
        # another term, another letter
        ends(let, SOON + timedelta(days=365))
        assert services.send_renewal_letters(agreements=[let]).queued == 2

    def test_the_letter_on_paper_waits_among_those_to_print(self, folk, let, coordinator):
        folk.tenant.contact_points.create(kind="postal", value="9 Alder Row")
        folk.tenant.channel = "letter"
        folk.tenant.save()
        services.send_renewal_letters(agreements=[let])
        assert "Bram Okello" in text_of(coordinator.get("/letters/paper/"))

    def test_whom_nothing_reaches_and_who_wants_none_are_named(self, folk, let, coordinator):
        folk.tenant.contact_points.all().delete()
        stop_reminders(address="odile.farrow@example.org", channel="email")
        page = text_of(
            coordinator.post(
                f"{PAGE}letters/", {"agreement": let.pk, "quarter": "2026-3"}, follow=True
            )
        )
        assert "Nothing reaches Bram Okello." in page
        assert "No letters are wanted by Odile Farrow; talk to them." in page

    def test_nothing_chosen_or_nothing_that_runs_out_is_told(self, folk, coordinator):
        page = text_of(coordinator.post(f"{PAGE}letters/", {"agreement": "x"}, follow=True))
        assert "Choose at least one agreement" in page
        covenant = in_force(folk, *OWNER_AND_AGENCY, instrument=InstrumentKind.COVENANT)
        page = text_of(coordinator.post(f"{PAGE}letters/", {"agreement": covenant.pk}, follow=True))
        assert "does not run out" in page


class TestLicencesThatRollOn:
    """Some cities let right-of-way licences go on year by year unless ended: Lawrence KS."""

    @pytest.fixture
    def licence(self, folk):
        return in_force(folk, *OWNER_AND_AGENCY, instrument=InstrumentKind.LICENCE)

    def test_it_goes_on_for_a_year_without_a_gap_and_says_so(self, folk, licence, coordinator):
        ends(licence, TODAY + timedelta(days=1))
        sweep_terms()
        licence.refresh_from_db()
        assert licence.ends_on == date(2027, 7, 16)
        assert licence.responsibilities.get(role="does").ends_on == date(2027, 7, 16)
        assert licence.events.last().why == "Goes on until before Fri 16 Jul 2027"
        sweep_terms()
        licence.refresh_from_db()
        assert licence.ends_on == date(2027, 7, 16)

    def test_years_that_were_slept_through_are_made_up(self, licence):
        ends(licence, date(2026, 7, 2))
        assert services.roll_on(on=date(2028, 7, 5)) == 1
        licence.refresh_from_db()
        assert licence.ends_on == date(2029, 7, 2)

    def test_not_when_ended_nor_when_another_has_taken_its_place_nor_another_kind(
        self, folk, licence
    ):
        ends(in_force(folk), TODAY)
        ends(licence, TODAY)
        draft = services.renew_agreement(agreement=licence)
        Agreement.objects.filter(pk=draft.pk).update(state=AgreementState.IN_FORCE, begins_on=TODAY)
        assert services.roll_on(on=TODAY) == 0

    def test_the_queue_says_that_it_goes_on_unless_ended(self, licence, coordinator):
        ends(licence, SOON)
        assert (licence.reference, "Goes on for another year unless it is ended") in lines(
            coordinator.get(PAGE)
        )
