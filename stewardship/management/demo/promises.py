"""Brings the demo's agreements into force through the services that people use, and has the sites built under them."""

from datetime import date, datetime, timedelta

from django.utils import translation

from people.models import Person, Program, User
from sites.choices import Stage
from sites.models import Site
from stewardship.agreements.choices import RequirementKind, SigningMethod
from stewardship.agreements.consent import consent_of
from stewardship.agreements.models import Agreement, Document, Party, Signature
from stewardship.agreements.services import (
    add_party,
    draft_agreement,
    end_agreement,
    mark_built,
    meet_requirement,
    offer_agreement,
    record_sale,
    record_signature,
    retire_site,
)
from stewardship.management.demo import read_table
from stewardship.management.demo.days import Days
from stewardship.management.demo.where import Where, built_on
from stewardship.management.demo.who import Who

TALKED_OVER_DAYS = 9  # from the draft to the signatures
RECORDED_AFTER_DAYS = 11
UNRECORDED = "VM-07"
SOLD = "TAR-402"  # the house whose new owner nobody has reached


def load_promises(days: Days, who: Who, where: Where) -> None:
    rows = read_table("agreements")
    agreements = {row["agreement"]: _make(row, days, who, where) for row in rows}
    for row in read_table("sites"):
        _build(where.sites[row["site"]], built_on(row, days), days, who.coordinator)
    for row in rows:
        if row["becomes"] == "ended":
            _end(agreements[row["agreement"]], row, days, who.coordinator)
    for row in read_table("sites"):
        if row["stage"] == Stage.RETIRED:
            _retire(where.sites[row["site"]], row, days, who.coordinator)


def _make(row: dict[str, str], days: Days, who: Who, where: Where) -> Agreement:
    """The agreement as far as this row of fixtures/agreements.csv takes it: drafted, offered, or signed."""
    by = who.coordinator
    signed_on = days.months_ago(row["signed_months_ago"])
    drafted_on = signed_on - timedelta(days=TALKED_OVER_DAYS)
    agreement = draft_agreement(
        reference=row["agreement"],
        instrument=row["instrument"],
        sites=[where.sites[code] for code in row["sites"].split()],
        language=row["language"],
        by=by,
    )
    for named in row["parties"].split():
        capacity, key = named.split(":")
        add_party(agreement=agreement, person=who.people[key], capacity=capacity, by=by)
    at = days.at(drafted_on, 15)
    if row["becomes"] != "draft":
        document = offer_agreement(agreement=agreement, on=drafted_on, by=by)
        days.backdate(agreement.documents, at, "made_at")
    days.backdate(Agreement.objects.filter(pk=agreement.pk), at, "created_at")
    days.backdate(agreement.events, at)
    if row["signed_by"]:
        signers = _signers(row["signed_by"], who.people)
        for party in agreement.parties.select_related("person"):
            if signers is None or party.person in signers:
                _sign(party, document, row, days.at(signed_on, 17), by)
        at = days.at(signed_on, 18)
        days.backdate(Signature.objects.filter(party__agreement=agreement), at, "recorded_at")
        days.backdate(agreement.events, at)
        for site in agreement.sites.all():
            days.backdate(site.events, at)
        _record(agreement, signed_on + timedelta(days=RECORDED_AFTER_DAYS), days, by)
    return agreement


def _record(agreement: Agreement, on: date, days: Days, by: User) -> None:
    """The county recorded every covenant but one, whose number is still missing."""
    for asked in agreement.requirements.filter(kind=RequirementKind.RECORDING):
        if agreement.reference != UNRECORDED:
            meet_requirement(
                requirement=asked,
                on=on,
                number=f"{on:%Y}-{agreement.pk:05d}",
                by=by,
            )
    days.backdate(agreement.events, days.at(on, 11))


def _signers(signed_by: str, people: dict[str, Person]) -> list[Person] | None:
    """Those who have signed so far; None for everybody."""
    return None if signed_by == "all" else [people[key] for key in signed_by.split()]


def _sign(party: Party, document: Document, row: dict[str, str], at: datetime, by: User) -> None:
    name = party.person.full_name
    if row["method"] == SigningMethod.PAPER:
        record_signature(
            party=party,
            document=document,
            signed_on=at.date(),
            typed_name=name,
            original_kept_at=f"Binder 1, behind {row['agreement']}",
            by=by,
        )
        return
    with translation.override(party.person.language):
        consent = consent_of(Program.get()).text
    record_signature(
        party=party,
        document=document,
        method=SigningMethod.SCREEN,
        typed_name=name,
        at=at,
        consent=consent,
        by=by,
    )


def _build(site: Site, on: date | None, days: Days, by: User) -> None:
    if on is not None:
        mark_built(site=site, on=on, by=by)
        days.backdate(site.events, days.at(on, 16))


def _end(agreement: Agreement, row: dict[str, str], days: Days, by: User) -> None:
    on = days.months_ago(row["ended_months_ago"])
    if row["sites"] == SOLD:
        record_sale(agreement=agreement, on=on, by=by)
    else:
        end_agreement(agreement=agreement, on=on, why=row["ended_why"], by=by)
    days.backdate(agreement.events, days.at(on, 17))


def _retire(site: Site, row: dict[str, str], days: Days, by: User) -> None:
    on = days.months_ago(row["retired_months_ago"])
    retire_site(site=site, on=on, why="The basin was taken out", by=by)
    days.backdate(site.events.filter(became=Stage.RETIRED), days.at(on, 17))
    for agreement in site.agreements.all():
        days.backdate(agreement.events, days.at(on, 17))
