"""Two workers at once. Only PostgreSQL can show it: SQLite lets one writer at a time in."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest
from django.db import connection, connections

from stewardship.care import services
from stewardship.care.models import Duty, FlowReport, RainQuestion, Reminder, Visit
from stewardship.outbox.models import Message
from tests import factory
from tests.care.book import noon, rain, sweep

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="one writer at a time"),
    pytest.mark.usefixtures("frozen_day"),
]


def at_once(*works) -> None:
    """Run the works in threads of their own, all starting together; an error in one is an error of the test."""
    start = threading.Barrier(len(works))

    def run(work):
        try:
            start.wait()
            work()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(works)) as pool:
        for done in [pool.submit(run, work) for work in works]:
            done.result(timeout=60)


@pytest.fixture
def sites(db):
    factory.make_program()
    factory.make_care_rule(phase="establishing", least_in=0.5)
    factory.make_hand_on("second_reminder", 0)
    owner = factory.make_person("Ines", "Quist", email="ines.quist@example.org")
    built = [factory.make_built_site(f"OAK-{n}", owner=owner) for n in range(1, 7)]
    for site in built:
        factory.make_visit(site, date(2026, 7, 1))
    rain(*built)
    return built


def test_three_sweeps_at_once_open_each_duty_once_and_tell_once(sites):
    at_once(sweep, sweep, sweep)
    sweep()
    assert Duty.objects.count() == len(sites)
    assert Reminder.objects.filter(round=1).count() == len(sites)
    rounds = Reminder.objects.values_list("duty", "person", "round")
    assert len(set(rounds)) == len(rounds)
    assert Message.objects.filter(template="reminder-first").count() == 1


def test_an_answer_sent_twice_at_once_is_one_visit(sites):
    sweep()
    duty = Duty.objects.get(site=sites[0])
    person = duty.owed_by.person

    def answer():
        services.record_answer(duty=duty, person=person, kind="done", at=noon())

    at_once(answer, answer, answer)
    assert Visit.objects.filter(duty=duty).count() == 1


def test_a_visit_and_a_sweep_at_once_leave_no_letter_about_work_that_is_done(sites):
    services.weigh_site_rains(on=factory.TODAY)

    def visit_all():
        for site in sites:
            services.record_visit(site=site, happened_on=factory.TODAY)

    at_once(visit_all, sweep)
    sweep()
    assert not Duty.objects.open().exists()
    assert not Message.objects.filter(status="queued").exists()


def test_two_decisions_and_a_sweep_at_once_open_each_duty_once(sites):
    services.weigh_site_rains(on=factory.TODAY + timedelta(days=9))
    pks = list(RainQuestion.objects.open().values_list("pk", flat=True))
    assert len(pks) == len(sites)
    users = [factory.make_user("coordinator", email=f"c{n}@example.org") for n in (1, 2)]

    def decide(user, pks):
        services.decide_rain_questions(pks=pks, act=True, on=factory.TODAY, by=user)

    at_once(lambda: decide(users[0], pks), lambda: decide(users[1], pks[::-1]), sweep)
    sweep()
    assert Duty.objects.count() == len(sites)
    assert Reminder.objects.filter(round=1).count() == len(sites)


def test_a_report_sent_twice_at_once_is_one(sites):
    owner = sites[0].responsibilities.get().person

    def report():
        services.report_flow(
            site=sites[0], kind="hail", ran_on=date(2026, 7, 13), person=owner, at=noon()
        )

    at_once(report, report, report, sweep)
    assert FlowReport.objects.count() == 1
