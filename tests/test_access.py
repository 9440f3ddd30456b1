"""Who may open what: one row per address, every role tried on each; and a GET changes nothing.

A stranger to a page is told that it is not there (404); nobody signed in is sent to sign in (302).
"""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.book import Book, make_book
from tests.cast import ROLES

COORDINATOR = {"coordinator"}
REVIEW = {"coordinator", "reviewer", "other_reviewer"}
OWN_REVIEW = {"coordinator", "reviewer"}
READING = {"coordinator", "reader"}
SIGNED_IN = set(ROLES) - {"anonymous"}
ANYBODY = set(ROLES)

#: name → (which keys of the book its address takes, who may open it, what they get).
ROWS: dict[str, tuple[tuple[str, ...], set[str], int]] = {
    "home": ((), ANYBODY, 302),
    "welcome": ((), SIGNED_IN, 200),
    "today": ((), COORDINATOR, 200),
    "site": (("site_code",), COORDINATOR, 200),
    "site_build": (("site_code",), COORDINATOR, 405),
    "site_rest": (("site_code",), COORDINATOR, 200),
    "site_retire": (("site_code",), COORDINATOR, 200),
    "claim_new": (("site_code",), COORDINATOR, 200),
    "claim_settle": (("claim",), COORDINATOR, 200),
    "storm": (("storm",), COORDINATOR, 200),
    "person": (("person",), COORDINATOR, 200),
    "person_died": (("person",), COORDINATOR, 200),
    "person_silence": (("person",), COORDINATOR, 200),
    "person_again": (("person",), COORDINATOR, 200),
    "person_estate": (("person",), COORDINATOR, 200),
    "agent_new": (("person",), COORDINATOR, 200),
    "agent_end": (("agent",), COORDINATOR, 405),
    "pause_new": (("person",), COORDINATOR, 200),
    "pause_end": (("pause",), COORDINATOR, 405),
    "rests": ((), COORDINATOR, 200),
    "dispute_new": (("site_code",), COORDINATOR, 200),
    "dispute": (("dispute",), COORDINATOR, 200),
    "organisations": ((), COORDINATOR, 200),
    "organisation_new": ((), COORDINATOR, 200),
    "organisation": (("organisation",), COORDINATOR, 200),
    "organisation_edit": (("organisation",), COORDINATOR, 200),
    "organisation_contact_end": (("organisation_contact",), COORDINATOR, 405),
    "offices": ((), COORDINATOR, 200),
    "office_change": ((), COORDINATOR, 200),
    "people:list": ((), COORDINATOR, 200),
    "people:new": ((), COORDINATOR, 200),
    "people:alike": ((), COORDINATOR, 200),
    "people:edit": (("person",), COORDINATOR, 200),
    "people:erase": (("person",), COORDINATOR, 200),
    "people:external_add": (("person",), COORDINATOR, 405),
    "people:external_drop": (("person", "external_id"), COORDINATOR, 405),
    "people:same": (("person",), COORDINATOR, 200),
    "people:household": (("household",), COORDINATOR, 200),
    "people:household_edit": (("household",), COORDINATOR, 200),
    "people:household_same": (("household",), COORDINATOR, 200),
    "people:merges": ((), COORDINATOR, 200),
    "people:merge_undo": (("merge",), COORDINATOR, 405),
    "people:contact_dead": (("person", "contact"), COORDINATOR, 405),
    "agreements:list": ((), COORDINATOR, 200),
    "agreements:detail": (("agreement",), COORDINATOR, 200),
    "agreements:end": (("agreement",), COORDINATOR, 200),
    "agreements:sale": (("agreement",), COORDINATOR, 200),
    "agreements:new_owner": (("agreement",), COORDINATOR, 200),
    "agreements:tenant_out": (("agreement",), COORDINATOR, 200),
    "agreements:consent": (("agreement",), COORDINATOR, 200),
    "agreements:next": (("agreement",), COORDINATOR, 405),
    "agreements:as_built": (("agreement",), COORDINATOR, 200),
    "agreements:seen": (("agreement", "party"), COORDINATOR, 200),
    "agreements:terms": (("agreement",), COORDINATOR, 200),
    "agreements:ask": (("agreement",), COORDINATOR, 200),
    "agreements:asked": (("requirement",), COORDINATOR, 200),
    "agreements:asked_drop": (("requirement",), COORDINATOR, 405),
    "agreements:renewals": ((), COORDINATOR, 200),
    "agreements:renewal_letters": ((), COORDINATOR, 405),
    "agreements:document": (("document",), COORDINATOR, 200),
    "agreements:check": (("sealed",), COORDINATOR, 200),
    "agreements:sign": (("party",), COORDINATOR, 200),
    "agreements:signing": (("offer",), COORDINATOR, 200),
    "agreements:let_stand": (("offer",), COORDINATOR, 405),
    "agreements:party_act": (("asked", "party_action"), COORDINATOR, 405),
    "agreements:sign_screen": (("offer", "asked"), COORDINATOR, 200),
    "agreements:signed": (("agreement", "party"), COORDINATOR, 200),
    "agreements:link_lost": ((), ANYBODY, 200),
    "agreements:by_link": (("signing_secret",), ANYBODY, 200),
    "agreements:link_document": (("signing_secret",), ANYBODY, 200),
    "agreements:lists": ((), COORDINATOR, 200),
    "agreements:lists_out": ((), COORDINATOR, 405),
    "agreements:list_file": (("list_file",), COORDINATOR, 200),
    "agreements:list_take": (("list_file",), COORDINATOR, 405),
    "agreements:list_faults": (("list_file",), COORDINATOR, 200),
    "agreements:wordings": ((), COORDINATOR, 200),
    "agreements:wording": (("wording",), COORDINATOR, 200),
    "agreements:wording_edit": (("wording",), COORDINATOR, 200),
    "agreements:wording_use": (("wording",), COORDINATOR, 405),
    "agreements:wording_review": (("wording",), COORDINATOR, 405),
    "agreements:wording_drop": (("wording",), COORDINATOR, 405),
    "agreements:blank": (("instrument", "language"), COORDINATOR, 200),
    "agreements:wording_next": (("instrument", "language"), COORDINATOR, 405),
    "onboard": ((), COORDINATOR, 200),
    "onboard_resume": (("draft",), COORDINATOR, 302),
    "onboard_step": (("draft", "step"), COORDINATOR, 200),
    "sites:list": ((), COORDINATOR, 200),
    "sites:new": ((), COORDINATOR, 200),
    "sites:alike": ((), COORDINATOR, 200),
    "sites:edit": (("site_code",), COORDINATOR, 200),
    "sites:same": (("site_code",), COORDINATOR, 200),
    "sites:merge_undo": (("merge",), COORDINATOR, 405),
    "sites:basin_new": (("site_code",), COORDINATOR, 200),
    "sites:basin_edit": (("basin",), COORDINATOR, 200),
    "sites:inlet_new": (("basin",), COORDINATOR, 200),
    "sites:inlet_edit": (("inlet",), COORDINATOR, 200),
    "sites:planting_new": (("basin",), COORDINATOR, 200),
    "sites:planting_edit": (("planting",), COORDINATOR, 200),
    "reports:list": ((), REVIEW, 200),
    "reports:new": ((), COORDINATOR, 405),
    "reports:detail": (("report",), OWN_REVIEW, 200),
    "reports:file": (("report",), OWN_REVIEW, 200),
    "reports:rows": (("report",), OWN_REVIEW, 200),
    "reports:compliance": ((), REVIEW, 200),
    "reports:proof": (("site_code",), OWN_REVIEW, 200),
    "rain:storms": ((), COORDINATOR, 200),
    "rain:gauges": ((), COORDINATOR, 200),
    "rain:gauge": (("gauge_code",), COORDINATOR, 200),
    "rain:gauge_new": ((), COORDINATOR, 200),
    "rain:gauge_edit": (("gauge_code",), COORDINATOR, 200),
    "rain:gauge_move": (("gauge_code",), COORDINATOR, 200),
    "rain:gauge_place": (("gauge_code", "gauge_place"), COORDINATOR, 200),
    "rain:gauge_end": (("gauge_code",), COORDINATOR, 200),
    "rain:gauge_readers": (("gauge_code",), COORDINATOR, 200),
    "rain:outage_new": (("gauge_code",), COORDINATOR, 200),
    "rain:outage": (("gauge_code", "outage"), COORDINATOR, 200),
    "rain:suspicion": (("gauge_code", "suspicion"), COORDINATOR, 405),
    "rain:doors": (("gauge_code",), COORDINATOR, 200),
    "rain:token_new": (("gauge_code",), COORDINATOR, 405),
    "rain:token_withdraw": (("gauge_code", "gauge_token"), COORDINATOR, 405),
    "rain:link_new": (("daily_code",), COORDINATOR, 405),
    "rain:link_withdraw": (("daily_code", "reader_link"), COORDINATOR, 405),
    "rain:reading_by_link": (("reader_secret",), ANYBODY, 200),
    "rain:rules": ((), COORDINATOR, 200),
    "rain:rule_out": (("rain_rule",), COORDINATOR, 405),
    "rain:find_again": ((), COORDINATOR, 200),
    "rain:frequencies": ((), COORDINATOR, 200),
    "rain:frequency": (("frequency_table",), COORDINATOR, 200),
    "rain:frequency_keep": ((), COORDINATOR, 405),
    "rain:frequency_withdraw": (("frequency_table",), COORDINATOR, 405),
    "rain:import": ((), COORDINATOR, 200),
    "rain:file": (("reading_file",), COORDINATOR, 200),
    "rain:file_look": (("reading_file",), COORDINATOR, 405),
    "rain:file_take": (("reading_file",), COORDINATOR, 405),
    "rain:file_drop": (("reading_file",), COORDINATOR, 405),
    "rain:file_rejected": (("reading_file",), COORDINATOR, 200),
    "rain:batch": (("batch",), COORDINATOR, 200),
    "rain:batch_undo": (("batch",), COORDINATOR, 200),
    "rain:reading_new": ((), READING, 200),
    "api:api-root": ((), ANYBODY, 200),
    "api:openapi-json": ((), ANYBODY, 200),
    "api:readings": ((), ANYBODY, 405),
    "care:answer": (("answer_token",), ANYBODY, 200),
    "care:answer_new_link": ((), ANYBODY, 405),
    "care:duties": ((), COORDINATOR, 200),
    "care:duty": (("duty",), COORDINATOR, 200),
    "care:duty_act": (("duty", "duty_action"), COORDINATOR, 405),
    "care:came_back": (("reminder",), COORDINATOR, 405),
    "care:visit_new": (("site_code",), COORDINATOR, 200),
    "care:visit": (("visit",), OWN_REVIEW, 200),
    "care:checks": ((), COORDINATOR, 200),
    "care:check_close": (("check",), COORDINATOR, 405),
    "care:rain_questions": ((), COORDINATOR, 200),
    "care:rain_decide": (("storm", "ask"), COORDINATOR, 405),
    "care:rain_log": ((), COORDINATOR, 200),
    "care:late_news": ((), COORDINATOR, 405),
    "care:declare": (("storm",), COORDINATOR, 200),
    "care:declared_withdraw": (("declared",), COORDINATOR, 405),
    "care:flow_reports": ((), COORDINATOR, 200),
    "care:flow_new": ((), COORDINATOR, 200),
    "care:flow_decide": (("flow_report", "flow_decision"), COORDINATOR, 405),
    "care:ran": (("answer_token",), ANYBODY, 200),
    "outbox:list": ((), COORDINATOR, 200),
    "outbox:detail": (("message",), COORDINATOR, 200),
    "outbox:retry": (("message",), COORDINATOR, 405),
    "outbox:confirm_sent": (("message",), COORDINATOR, 405),
    "outbox:suppress": (("message",), COORDINATOR, 405),
    "outbox:enclosure": (("enclosure",), COORDINATOR, 200),
    "outbox:to_post": ((), COORDINATOR, 200),
    "outbox:print": ((), COORDINATOR, 200),
    "outbox:posted": ((), COORDINATOR, 405),
    "outbox:stop": (("stop_token",), ANYBODY, 200),
}
#: Addresses of packages, kept by their own tests: accounts and second factor (allauth), repairs (admin), the language switch.
OF_PACKAGES = re.compile(r"^(account_|mfa_|admin:|set_language$)")


def named_urls() -> set[str]:
    """Every name in the URLconf, with its namespace."""

    def walk(patterns, namespace: str):
        for entry in patterns:
            if isinstance(entry, URLResolver):
                inner = f"{namespace}{entry.namespace}:" if entry.namespace else namespace
                yield from walk(entry.url_patterns, inner)
            elif isinstance(entry, URLPattern) and entry.name:
                yield namespace + entry.name

    return {name for name in walk(get_resolver().url_patterns, "") if not OF_PACKAGES.match(name)}


@pytest.fixture
def book(cast, frozen_day) -> Book:
    return make_book(cast)


def address(name: str, book: Book) -> str:
    return reverse(name, args=[getattr(book, key) for key in ROWS[name][0]])


def test_every_address_has_a_row_and_every_row_an_address():
    assert named_urls() == set(ROWS)


@pytest.mark.parametrize("name", sorted(ROWS))
def test_each_role_gets_what_its_row_says(book, client_of, name):
    _keys, allowed, code = ROWS[name]
    url = address(name, book)
    expected = {
        role: code if role in allowed else 302 if role == "anonymous" else 404 for role in ROLES
    }
    got = {}
    for role in ROLES:
        response = client_of(role).get(url)
        got[role] = response.status_code
        if role == "anonymous" and role not in allowed:
            assert response.url.startswith(reverse("account_login"))
    assert got == expected


WRITES = re.compile(r"^(INSERT|UPDATE|DELETE|REPLACE)\b(?!.*\bdjango_session\b)", re.IGNORECASE)


@pytest.mark.parametrize("name", sorted(name for name, row in ROWS.items() if row[2] == 200))
def test_a_get_writes_nothing(book, client_of, name):
    _keys, allowed, _code = ROWS[name]
    role = "coordinator" if "coordinator" in allowed else sorted(allowed)[0]
    browser = client_of(role)
    with CaptureQueriesContext(connection) as queries:
        browser.get(address(name, book))
    assert not [query["sql"] for query in queries if WRITES.match(query["sql"])]


@pytest.mark.parametrize("role", ROLES)
def test_repairs_are_for_staff_only(cast, client_of, role):
    assert client_of(role).get(reverse("admin:index")).status_code in (302, 404)


def test_a_forged_post_without_a_token_is_refused_in_plain_words(cast):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(cast.coordinator, backend="django.contrib.auth.backends.ModelBackend")
    response = browser.post(reverse("reports:new"), {})
    assert response.status_code == 403
    assert "<h1>" in response.content.decode()
