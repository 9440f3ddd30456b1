"""Sign-in and what belongs to it stands in our frame, says one thing at a time and gives nothing away."""

import re

import pytest
from django.core import mail

from tests import factory

OPEN_PAGES = [
    "/account/login/",
    "/account/login/code/",
    "/account/password/reset/",
    "/account/password/reset/done/",
    "/account/password/reset/key/1-nonsense/",
    "/account/inactive/",
    "/account/signup/",
]
OWN_PAGES = ["/account/password/change/", "/account/2fa/", "/account/email/", "/account/logout/"]


def assert_ours(html: str) -> None:
    assert html.count("<h1") == 1
    assert re.search(r"<title>\s*\S", html)
    assert 'class="leaf' in html
    assert 'class="skip"' in html


@pytest.mark.parametrize("path", OPEN_PAGES)
def test_pages_before_signing_in(client, program, path):
    response = client.get(path)

    assert response.status_code == 200
    assert_ours(response.content.decode())


@pytest.mark.parametrize("path", OWN_PAGES)
def test_pages_about_ones_own_log_in(coordinator, path):
    response = coordinator.get(path)

    assert response.status_code == 200
    assert_ours(response.content.decode())


def test_nobody_signs_up_alone(client, program):
    html = client.get("/account/signup/").content.decode()

    assert "<form" not in html.split("<main")[1].split("</main>")[0]
    assert "Ask the program" in html


def test_a_wrong_password_is_one_sentence_and_keeps_the_address(client, cast):
    address = cast.user("coordinator").email

    html = client.post(
        "/account/login/", {"login": address, "password": "not this one"}
    ).content.decode()

    assert html.count('class="error-summary"') == 1
    assert f'value="{address}"' in html
    assert "not this one" not in html


def test_a_volunteer_gets_in_with_a_mailed_code(client, cast):
    volunteer = cast.user("volunteer")
    client.post("/account/login/code/?next=/account/2fa/", {"email": volunteer.email})
    letter = mail.outbox[-1]
    code = re.search(r"^[A-Z0-9-]{6,12}$", letter.body, re.MULTILINE).group()

    response = client.post("/account/login/code/confirm/?next=/account/2fa/", {"code": code})

    assert letter.to == [volunteer.email]
    assert letter.subject == "Your code to sign in"
    assert response.status_code == 302
    assert client.session["_auth_user_id"] == str(volunteer.pk)


def test_asking_for_a_code_or_a_password_does_not_tell_who_has_a_log_in(client, cast):
    known = cast.user("coordinator").email
    for path, done in (
        ("/account/login/code/", "/account/login/code/confirm/"),
        ("/account/password/reset/", "/account/password/reset/done/"),
    ):
        for address in (known, "nobody@example.org"):
            client.logout()
            assert client.post(path, {"email": address})["Location"] == done


def test_a_forgotten_password_is_set_anew_by_a_mailed_link(client, cast):
    user = cast.user("coordinator")
    client.post("/account/password/reset/", {"email": user.email})
    link = re.search(r"http://\S+", mail.outbox[-1].body).group()
    page = client.get(link, follow=True)

    client.post(
        page.request["PATH_INFO"],
        {"password1": "quiet rill 14 stones", "password2": "quiet rill 14 stones"},
    )

    user.refresh_from_db()
    assert user.check_password("quiet rill 14 stones")
    assert mail.outbox[-1].subject == "Your password was changed"
    assert "This link no longer works" in client.get(link, follow=True).content.decode()


def test_the_address_to_sign_in_is_shown_with_who_changes_it_and_cannot_be_added_to(
    client_of, cast
):
    volunteer = client_of("volunteer")
    html = volunteer.get("/account/email/").content.decode()
    assert "You sign in with tomas.bell@example.org." in html
    assert "Rosa Lind" in html
    assert volunteer.post("/account/email/", {"email": "x@example.org"}).status_code == 405
    assert volunteer.get("/account/confirm-email/").status_code == 404
    assert volunteer.get("/account/confirm-email/some-key/").status_code == 404


def test_the_repair_pages_say_what_they_are(client, program):
    staff = factory.make_user(email="staff@example.org", is_staff=True, is_superuser=True)
    client.force_login(staff, backend="django.contrib.auth.backends.ModelBackend")
    html = client.get("/repair/").content.decode()
    assert "Repairs" in html
    assert "Django" not in re.sub(r"<style.*?</style>", "", html, flags=re.DOTALL)
