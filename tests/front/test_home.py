"""Everybody's way in: where each role lands, how to get a forgotten password back, how a volunteer gets in by code."""

import re

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from people.models import Membership, User
from tests import factory


@pytest.mark.parametrize(
    ("role", "lands_on"),
    [
        ("coordinator", "today"),
        ("reviewer", "reports:compliance"),
        ("reader", "rain:reading_new"),
        ("volunteer", "welcome"),
        ("stranger", "welcome"),
        ("anonymous", "account_login"),
    ],
)
def test_home_leads_each_role_to_its_page(cast, client_of, role, lands_on):
    assert client_of(role).get(reverse("home")).url == reverse(lands_on)


def test_a_coordinator_who_also_reads_a_gauge_lands_on_today(cast, client_of):
    Membership.objects.create(user=cast.coordinator, role="reader")
    assert client_of("coordinator").get(reverse("home")).url == reverse("today")


def test_a_log_in_without_a_role_is_told_whom_to_ask(cast, client_of):
    page = client_of("stranger").get(reverse("welcome")).content.decode()
    assert "nobody has given this log-in a part to play" in page
    assert "rosa.lind@example.org" in page
    assert "505-555-0100" in page


def test_without_any_coordinator_the_page_still_answers(program):
    user = factory.make_user(email="first@example.org")
    factory.make_program(phone="", email="")
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert "no coordinator is written down" in client.get(reverse("welcome")).content.decode()


def test_a_volunteer_reads_what_to_bring_and_whether_the_waiver_holds(cast, client_of, frozen_day):
    page = client_of("volunteer").get(reverse("welcome")).content.decode()
    assert "bright vest" in page
    assert "Never reach into running water" in page
    assert "valid until" in page
    volunteer = cast.volunteer.person.volunteer
    volunteer.waiver_until = factory.TODAY.replace(day=1)
    volunteer.save()
    page = client_of("volunteer").get(reverse("welcome")).content.decode()
    assert "lapsed on" in page


def test_signing_in_with_a_password_leads_home_and_signing_out_leads_out(cast):
    client = Client()
    response = client.post(
        reverse("account_login"),
        {"login": "rosa.lind@example.org", "password": factory.PASSWORD},
    )
    assert response.url == reverse("home")
    assert client.get(reverse("home")).url == reverse("today")
    client.post(reverse("account_logout"))
    assert client.get(reverse("home")).url == reverse("account_login")


def test_a_wrong_password_gets_one_sentence_that_does_not_tell_who_exists(cast):
    def errors(email: str) -> list[str]:
        response = Client().post(
            reverse("account_login"), {"login": email, "password": "wrong-wrong-1"}
        )
        return response.context["form"].non_field_errors()

    assert len(errors("rosa.lind@example.org")) == 1
    assert errors("rosa.lind@example.org") == errors("nobody.there@example.org")


def test_nobody_signs_up_alone(cast):
    client = Client()
    client.post(
        reverse("account_signup"),
        {"email": "me@example.org", "password1": "water-and-clay-7"},
    )
    assert not User.objects.filter(email="me@example.org").exists()


def test_a_forgotten_password_comes_back_by_mail_and_its_link_works_once(cast):
    client = Client()
    client.post(reverse("account_reset_password"), {"email": "rosa.lind@example.org"})
    (letter,) = mail.outbox
    assert letter.to == ["rosa.lind@example.org"]
    path = re.search(r"https?://[^/]+(/\S+)", letter.body).group(1)
    page = client.get(path, follow=True)
    assert page.status_code == 200
    form_path = page.redirect_chain[-1][0]
    new = "gravel-lip-and-sedge-4"
    client.post(form_path, {"password1": new, "password2": new})
    assert Client().login(email="rosa.lind@example.org", password=new)
    again = Client().get(path, follow=True)
    assert "password1" not in again.content.decode()


def test_asking_for_an_unknown_address_looks_the_same_from_outside(cast):
    known = Client().post(reverse("account_reset_password"), {"email": "rosa.lind@example.org"})
    unknown = Client().post(reverse("account_reset_password"), {"email": "who@example.org"})
    assert (known.status_code, known.url) == (unknown.status_code, unknown.url)


def test_a_volunteer_gets_in_by_a_code_from_the_mail(cast):
    client = Client()
    response = client.post(
        reverse("account_request_login_code"), {"email": "tomas.bell@example.org"}
    )
    assert response.status_code == 302
    (letter,) = mail.outbox
    code = re.search(r"^\s*([A-Z0-9]{3,}(?:-[A-Z0-9]{3,})*)\s*$", letter.body, re.MULTILINE).group(
        1
    )
    response = client.post(response.url, {"code": code})
    assert client.get(reverse("home")).url == reverse("welcome")


def test_a_wrong_code_lets_nobody_in(cast):
    client = Client()
    response = client.post(
        reverse("account_request_login_code"), {"email": "tomas.bell@example.org"}
    )
    client.post(response.url, {"code": "AAAA-AAAA"})
    assert client.get(reverse("home")).url == reverse("account_login")


def test_a_log_in_that_was_closed_gets_no_further(cast):
    cast.volunteer.is_active = False
    cast.volunteer.save()
    assert not Client().login(email="tomas.bell@example.org", password=factory.PASSWORD)


def test_the_sign_in_page_tells_passers_by_what_this_is_and_whom_to_call(cast, client):
    page = client.get(reverse("account_login")).content.decode()
    assert "looks after the planted basins along these streets" in page
    assert "Call 505-555-0100; in danger call 911." in page
