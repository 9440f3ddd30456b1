"""Two entries that are one: put together and taken apart again without losing or inventing a row."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from people.merging import merge, pointing_at, undo_merge
from people.models import Agent, ContactPoint, Household, Merge, Person, PersonExternalId, Volunteer
from people.services import household_at
from people.silence import fall_silent
from people.words import ROWS
from sites.models import Site
from stewardship.agreements.models import Responsibility
from stewardship.care.models import Answer, Visit
from stewardship.common.errors import Refused
from tests import factory

pytestmark = pytest.mark.django_db


def rows_of(*people: Person) -> dict[str, list[dict]]:
    """Every row that points to one of these, and the people themselves."""
    found = {"people": list(Person.objects.filter(pk__in=[p.pk for p in people]).values())}
    for model, name in pointing_at(Person):
        rows = model._base_manager.filter(**{f"{name}__in": people}).order_by("pk")
        found[f"{model._meta.label}.{name}"] = list(rows.values())
    return found


def again(*rows) -> None:
    for row in rows:
        row.refresh_from_db()


class TestPuttingTogether:
    def test_t38_what_was_done_promised_and_told_by_the_one_is_the_others(self, cast, frozen_day):
        second = factory.make_person("Inés", "Quist", phone="505-555-0133")
        duty = factory.make_duty(cast.site)
        answer = Answer.objects.create(
            duty=duty, person=second, kind="cannot", about_on=date(2026, 7, 14)
        )
        visit = factory.make_visit(cast.site, date(2026, 7, 14), done_by=second)
        done = merge(kept=cast.owner, gone=second, by=cast.coordinator)
        again(answer, visit, second)
        assert answer.person == visit.done_by == second.merged_into == cast.owner
        assert {p.kind for p in cast.owner.contact_points.all()} == {"email", "postal", "phone"}
        assert not done.stayed
        assert second not in Person.objects.known()
        assert done.merge.words == "Inés Quist is Ines Quist"

    def test_facts_that_the_one_that_stays_lacks_are_filled_in(self, cast):
        home = Household.objects.create(name="Quist", address="110 Saltbush Street")
        kept = factory.make_person("Wen", "", note="Likes mornings")
        gone = factory.make_person("Wen", "Abad", note="Has a key", household=home)
        merge(kept=kept, gone=gone, by=None)
        again(kept)
        assert (kept.full_name, kept.household) == ("Wen Abad", home)
        assert kept.note == "Likes mornings\nHas a key"

    def test_that_somebody_is_not_written_to_goes_along(self, cast, frozen_day):
        second = factory.make_person("Inez", "Quist")
        fall_silent(person=second, why="safety", on=date(2026, 7, 1))
        merge(kept=cast.tenant, gone=second, by=None)
        again(cast.tenant)
        assert (cast.tenant.silent_why, cast.tenant.silent_since) == ("safety", date(2026, 7, 1))

    def test_a_row_that_has_no_place_there_stays_and_is_named(self, cast, coordinator):
        second = factory.make_person("Ines", "Quist", email="ines.quist@example.org")
        extra = Responsibility.objects.create(
            site=cast.site,
            role="does",
            person=second,
            agreement=cast.site.agreements.get(),
            starts_on=date(2026, 1, 1),
        )
        address = f"/people/{cast.owner.pk}/same/"
        response = coordinator.post(
            address, {"with": second.pk, "stays": cast.owner.pk}, follow=True
        )
        page = " ".join(response.content.decode().split())
        assert "This could not move and stays with the other entry" in page
        assert "addresses: ines.quist@example.org" in page
        assert "responsibilities: Ines Quist Does the work" in page
        again(extra)
        assert extra.person == second

    def test_who_acts_for_the_other_does_not_come_to_act_for_themselves(self, cast):
        second = factory.make_person("Inez", "Quist")
        row = Agent.objects.create(
            principal=cast.owner, agent=second, scope="letters", starts_on=date(2026, 1, 1)
        )
        done = merge(kept=cast.owner, gone=second, by=None)
        assert [stayed for _model, stayed in done.stayed] == [row]

    def test_two_log_ins_are_refused_in_words_and_nothing_is_moved(self, cast):
        first, second = cast.volunteer.person, cast.reader.person
        before = rows_of(first, second)
        with pytest.raises(Refused, match="tomas.bell@example.org and wen.salazar@example.org"):
            merge(kept=first, gone=second, by=None)
        assert rows_of(first, second) == before
        cast.reader.is_active = False
        cast.reader.save()
        merge(kept=first, gone=second, by=None)
        cast.reader.refresh_from_db()
        assert cast.reader.person == second

    def test_a_log_in_of_the_one_that_goes_comes_along(self, cast):
        person = factory.make_person("Tomas", "Bel")
        merge(kept=person, gone=cast.volunteer.person, by=None)
        cast.volunteer.refresh_from_db()
        assert cast.volunteer.person == person

    def test_two_volunteers_are_kept_both(self, cast):
        kept, gone = (factory.make_person(name, "Bell") for name in ("Tomas", "Tom"))
        for person in (kept, gone):
            factory.make_volunteer(person)
        done = merge(kept=kept, gone=gone, by=None)
        assert [model for model, _row in done.stayed] == [Volunteer]
        assert gone.volunteer.person == gone

    def test_an_entry_is_no_second_entry_of_itself_or_of_two(self, cast):
        second = factory.make_person("Inez", "Quist")
        with pytest.raises(Refused, match="the same entry"):
            merge(kept=second, gone=second, by=None)
        merge(kept=cast.owner, gone=second, by=None)
        with pytest.raises(Refused, match="Inez Quist is a second entry of Ines Quist already"):
            merge(kept=cast.tenant, gone=second, by=None)

    def test_the_number_of_queries_does_not_grow_with_the_rows(self, cast):
        def count(rows: int) -> int:
            kept, gone = factory.make_person("A", "B"), factory.make_person("A", "Bb")
            for _number in range(rows):
                factory.make_visit(cast.site, date(2026, 7, 1), done_by=gone)
            with CaptureQueriesContext(connection) as seen:
                merge(kept=kept, gone=gone, by=None)
            return len(seen)

        assert count(1) == count(20)

    def test_every_kind_of_row_that_hangs_on_an_entry_has_words(self):
        for entry in (Person, Household, Site):
            for model, name in pointing_at(entry):
                assert model._meta.label_lower in ROWS, f"{model._meta.label}.{name}"


class TestTakingApart:
    @settings(
        max_examples=25,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )
    @given(
        points=st.lists(st.tuples(st.integers(0, 4), st.booleans(), st.booleans()), max_size=5),
        visits=st.lists(st.booleans(), max_size=4),
        acts=st.lists(st.sampled_from(["to", "from", "between"]), max_size=3, unique=True),
        volunteers=st.tuples(st.booleans(), st.booleans()),
        facts=st.tuples(st.sampled_from(["", "x"]), st.sampled_from(["", "x", "y"]), st.booleans()),
        since=st.booleans(),
    )
    def test_a_merge_that_is_taken_back_leaves_the_same_rows(
        self, cast, points, visits, acts, volunteers, facts, since
    ):
        with transaction.atomic():
            note, other_note, housed = facts
            home = Household.objects.create(name="Quist", address="1 Row") if housed else None
            kept = factory.make_person("Ines", "Quist", note=note)
            gone = factory.make_person("Inez", "Quist", note=other_note, household=home)
            for number, mine, theirs in points:
                value = f"p{number}@example.org"
                point, _new = ContactPoint.objects.get_or_create(
                    kind="email", normal=value, defaults={"value": value}
                )
                point.people.add(*([kept] if mine else []), *([gone] if theirs else []))
            for mine in visits:
                factory.make_visit(cast.site, date(2026, 7, 1), done_by=kept if mine else gone)
            for act in acts:
                pair = {"to": (cast.tenant, gone), "from": (gone, cast.tenant)}
                principal, agent = pair.get(act, (kept, gone))
                Agent.objects.create(
                    principal=principal, agent=agent, scope="letters", starts_on=date(2026, 1, 1)
                )
            for person, is_one in zip((kept, gone), volunteers, strict=True):
                if is_one:
                    factory.make_volunteer(person)
            before = rows_of(kept, gone)
            done = merge(kept=kept, gone=gone, by=None)
            fresh = factory.make_visit(cast.site, date(2026, 7, 2), done_by=kept) if since else None
            undo_merge(merge=done.merge, by=None)
            if fresh:
                fresh.refresh_from_db()
                assert fresh.done_by == kept
                Visit.objects.filter(pk=fresh.pk).delete()
            assert rows_of(kept, gone) == before
            transaction.set_rollback(True)

    def test_what_somebody_corrected_since_is_left_as_it_is(self, cast):
        kept, gone = factory.make_person("Wen", ""), factory.make_person("Wen", "Abad")
        done = merge(kept=kept, gone=gone, by=None)
        Person.objects.filter(pk=kept.pk).update(family_name="Salazar")
        undo_merge(merge=done.merge, by=None)
        again(kept, gone)
        assert (kept.family_name, gone.merged_into) == ("Salazar", None)

    def test_the_later_of_two_is_taken_back_first(self, cast):
        a, b, c = (factory.make_person("Wen", name) for name in ("Aba", "Abad", "Abadd"))
        first = merge(kept=b, gone=a, by=None).merge
        second = merge(kept=c, gone=b, by=None).merge
        again(a)
        assert a.merged_into == c
        with pytest.raises(Refused, match="Wen Abad was found to be Wen Abadd later"):
            undo_merge(merge=first, by=None)
        undo_merge(merge=second, by=None)
        undo_merge(merge=first, by=None)
        again(a, b)
        assert a.merged_into is b.merged_into is None

    def test_twice_is_refused(self, cast):
        kept, gone = factory.make_person("Wen", "Abad"), factory.make_person("Wen", "Abbad")
        done = merge(kept=kept, gone=gone, by=None).merge
        undo_merge(merge=done, by=cast.coordinator)
        with pytest.raises(Refused, match="taken back already"):
            undo_merge(merge=done, by=None)
        # and they can be put together anew
        merge(kept=gone, gone=kept, by=None)

    def test_households_too(self, cast):
        kept = Household.objects.create(name="Quist", address="110 Saltbush Street")
        gone = Household.objects.create(name="Quist", address="110 Saltbush St")
        cast.owner.household = gone
        cast.owner.save()
        done = merge(kept=kept, gone=gone, by=None).merge
        again(cast.owner)
        assert cast.owner.household == kept
        assert list(Household.objects.known()) == [kept]
        # somebody who types the other spelling lands at the one that stayed
        assert household_at(name="Quist", address="110 Saltbush St") == kept
        undo_merge(merge=done, by=None)
        again(cast.owner)
        assert cast.owner.household == gone


class TestThePages:
    def test_the_other_entry_is_offered_compared_put_together_and_taken_apart(
        self, coordinator, cast
    ):
        second = factory.make_person("Inés", "Quist", email="ines@example.org")
        address = f"/people/{cast.owner.pk}/same/"
        page = coordinator.get(address).content.decode()
        assert f"?with={second.pk}" in page
        page = coordinator.get(f"{address}?q=farrow").content.decode()
        assert f"?with={cast.other_owner.pk}" in page
        page = coordinator.get(f"{address}?with={second.pk}").content.decode()
        assert "ines@example.org" in page
        assert "responsibilities" in page
        response = coordinator.post(address, {"with": second.pk})
        assert response.status_code == 422
        assert "Say which of the two entries stays." in response.content.decode()
        response = coordinator.post(
            address, {"with": second.pk, "stays": cast.owner.pk}, follow=True
        )
        assert "are one entry now" in response.content.decode()
        assert str(second) not in coordinator.get("/people/").content.decode()
        merged = Merge.objects.get()
        page = coordinator.get("/people/merges/").content.decode()
        assert "Inés Quist is Ines Quist" in page
        coordinator.post(f"/people/merges/{merged.pk}/undo/")
        again(second)
        assert second.merged_into is None

    def test_a_refusal_is_said_at_the_form(self, coordinator, cast):
        address = f"/people/{cast.volunteer.person.pk}/same/"
        other = cast.reader.person.pk
        response = coordinator.post(address, {"with": other, "stays": cast.volunteer.person.pk})
        assert response.status_code == 422
        assert "Both have a log-in" in response.content.decode()

    def test_each_keeps_its_history_and_the_page_shows_both(self, coordinator, cast, frozen_day):
        second = factory.make_person("Inés", "Quist")
        fall_silent(person=second, why="asked", on=date(2026, 7, 1), note="By telephone")
        merge(kept=cast.owner, gone=second, by=cast.coordinator)
        page = coordinator.get(f"/people/{cast.owner.pk}/").content.decode()
        assert "Found to be the same" in page
        assert "Inés Quist is Ines Quist" in page
        assert "By telephone" in page
        page = " ".join(coordinator.get(f"/people/{second.pk}/").content.decode().split())
        assert f'The same as <a href="/people/{cast.owner.pk}/">Ines Quist</a>' in page
        assert coordinator.get(f"/people/{second.pk}/edit/").status_code == 404


class TestTheConstraints:
    def test_nobody_is_a_second_entry_of_themselves(self, cast):
        for row in (cast.owner, Household.objects.create(name="Quist", address="1 Row")):
            with pytest.raises(IntegrityError), transaction.atomic():
                type(row).objects.filter(pk=row.pk).update(merged_into=row)
            other = (
                factory.make_person()
                if row == cast.owner
                else Household.objects.create(name="Rea", address="1 Row")
            )
            type(row).objects.filter(pk=row.pk).update(merged_into=other)

    @pytest.mark.parametrize(
        "wrong",
        [
            {"kind": "planet"},
            {"kept": 2},
            {"undone_at": factory.at(date(2026, 7, 1)), "at": factory.at(date(2026, 7, 2))},
        ],
    )
    def test_a_merge_is_of_two_entries_of_a_kind_and_is_taken_back_later(self, wrong):
        facts = {"kind": "person", "kept": 1, "gone": 2, "words": "x"}
        with pytest.raises(IntegrityError), transaction.atomic():
            Merge.objects.create(**(facts | wrong))
        Merge.objects.create(**facts)

    def test_an_entry_goes_once_until_that_is_taken_back(self):
        facts = {"kind": "person", "gone": 2, "words": "x"}
        first = Merge.objects.create(kept=1, **facts)
        with pytest.raises(IntegrityError), transaction.atomic():
            Merge.objects.create(kept=3, **facts)
        first.undone_at = factory.at(date(2100, 1, 1))
        first.save()
        Merge.objects.create(kept=3, **facts)

    def test_an_identifier_in_somebodys_list_means_one_person(self, cast):
        PersonExternalId.objects.create(person=cast.owner, kept_by="Assessor", value="7")
        with pytest.raises(IntegrityError), transaction.atomic():
            PersonExternalId.objects.create(person=cast.tenant, kept_by="Assessor", value="7")
        PersonExternalId.objects.create(person=cast.tenant, kept_by="Streets", value="7")
