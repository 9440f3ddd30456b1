"""One of everything, so that every address of the book can be opened."""

from dataclasses import dataclass
from datetime import date
from io import BytesIO

from django.core import signing

from people.merging import merge
from people.models import Agent, Household, Organisation
from sites.models import Inlet, Planting
from stewardship.agreements.models import Agreement, Document, ListFile, Party
from stewardship.agreements.services.links import make_link
from stewardship.care.choices import CheckReason, RainAsk
from stewardship.care.links import token_for
from stewardship.care.models import Answer, ContactCheck, FlowReport, RainQuestion, Reminder
from stewardship.care.services import send_new_link
from stewardship.outbox.models import EnclosedFile, Message
from stewardship.outbox.writing import STOP_SALT
from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import DeclaredRain, RainRule
from stewardship.rain.services import make_reader_link, make_token, upload_file
from stewardship.reports.models import Report
from tests import factory
from tests.cast import Cast


@dataclass(frozen=True)
class Book:
    """Keys of addresses. All is about the cast's first site, which its reviewer may see."""

    site_code: str
    basin: int
    inlet: int
    planting: int
    gauge_code: str
    gauge_place: int
    outage: int
    gauge_token: int
    daily_code: str
    reader_link: int
    reader_secret: str
    suspicion: int
    rain_rule: int
    frequency_table: int
    batch: int
    reading_file: int
    storm: int
    duty: int
    duty_action: str
    reminder: int
    visit: int
    check: int
    ask: str
    declared: int
    flow_report: int
    flow_decision: str
    message: int
    enclosure: int
    person: int
    contact: int
    household: int
    external_id: int
    merge: int
    agent: int
    pause: int
    dispute: int
    organisation: int
    organisation_contact: int
    agreement: int
    document: int
    sealed: int
    requirement: int
    claim: int
    party: int
    offer: int
    asked: int
    party_action: str
    signing_secret: str
    draft: str
    step: str
    wording: int
    list_file: int
    instrument: str
    language: str
    report: int
    answer_token: str
    stop_token: str


def make_message(key: str = "m1", **fields) -> Message:
    facts = {
        "message_class": "reminder",
        "channel": "email",
        "to_name": "Ines Quist",
        "to_address": "ines.quist@example.org",
        "template": "reminder",
        "subject": "Your basin",
        "text": "Please look.",
        "rfc_message_id": f"<{key}@example.org>",
        "due_at": factory.at(date(2026, 7, 14), "18:00"),
        "queued_at": factory.at(date(2026, 7, 14), "18:00"),
    }
    return Message.objects.create(key=key, **(facts | fields))


def make_sealed(agreement: Agreement) -> Document:
    """A row in the place of a sealed copy; its bytes are none."""
    return Document.objects.create(
        agreement=agreement,
        kind="sealed",
        version=1,
        file_name=f"{agreement.reference}-v1-signed.pdf",
        content=b"%PDF-1.7 sealed",
        sha256="0" * 64,
        pages=1,
    )


def make_book(cast: Cast) -> Book:
    site = cast.site
    basin = site.basins.get()
    gauge = factory.make_gauge()
    batch = factory.make_readings(
        gauge, factory.at(date(2026, 7, 14), "16:00"), factory.QUARTER, [0.2, 0.3, 0.12], found=True
    )
    storm = factory.make_storm(factory.at(date(2026, 7, 14), "16:00"), hours=0.75, gauges=[gauge])
    factory.make_site_rain(
        storm, site, gauge=gauge, water={}, weighed_at=factory.at(date(2026, 7, 14), "17:00")
    )
    duty = factory.make_duty(site, storms=[storm])
    failed = make_message("failed", status="failed", error="The mail server said no.")
    reminder = Reminder.objects.create(
        duty=duty, person=cast.owner, message=failed, made_at=factory.at(date(2026, 7, 14))
    )
    Answer.objects.create(
        duty=duty,
        person=cast.owner,
        kind="cannot",
        about_on=date(2026, 7, 14),
        at=factory.at(date(2026, 7, 14), "20:00"),
    )
    # a letter on paper that waits to be printed
    send_new_link(
        duty=factory.make_duty(cast.other_site),
        person=cast.other_owner,
        at=factory.at(date(2026, 7, 15), "11:00"),
    )
    agreement = site.agreements.get()
    draft = Agreement.objects.create(
        reference="A-77", instrument="care_agreement", wording=agreement.wording
    )
    draft.sites.add(factory.make_site("ASH-9"))
    Party.objects.create(agreement=draft, person=cast.tenant, capacity="owner")
    offer = Agreement.objects.create(
        reference="A-78", instrument="care_agreement", wording=agreement.wording, state="offered"
    )
    offer.sites.add(factory.make_site("ASH-10"))
    offer.documents.create(
        kind="to_sign",
        version=1,
        file_name="A-78-v1.pdf",
        content=b"%PDF-1.7",
        sha256="0" * 64,
        pages=1,
    )
    asked = Party.objects.create(agreement=offer, person=cast.owner, capacity="owner")
    _link, signing_secret = make_link(party=asked)
    report = Report.objects.create(
        starts_on=date(2025, 1, 1),
        ends_on=date(2025, 12, 31),
        agency=cast.agency,
        state="issued",
        figures={"groups": []},
        content=b"%PDF-1.7",
        sha256="0" * 64,
        pages=1,
        issued_at=factory.at(date(2026, 1, 5)),
    )
    RainQuestion.objects.create(
        site=cast.other_site, storm=storm, ask=RainAsk.ADD, storm_revision=1
    )
    household = Household.objects.create(name="Quist", address="110 Saltbush Street")
    cast.tenant.household = household
    cast.tenant.save()
    school = factory.make_gauge("school", kind=GaugeKind.DAILY)
    school.readers.add(cast.reader.person)
    reader_link, reader_secret = make_reader_link(
        gauge=school, person=cast.reader.person, by=cast.coordinator
    )
    token, _secret = make_token(gauge=gauge, label="Roof logger", by=cast.coordinator)
    condo = Organisation.objects.create(name="Mesa Court Owners", kind="condo")
    contact = condo.contacts.create(
        person=cast.tenant, role="care", starts_on=date(2026, 1, 1), ends_on=date(2026, 7, 1)
    )
    dispute = site.disputes.create(
        opened_on=date(2026, 6, 1),
        claim="That is my neighbour’s.",
        closed_on=date(2026, 6, 5),
        outcome="It is theirs after all",
    )
    return Book(
        agent=Agent.objects.create(
            principal=cast.owner,
            agent=cast.tenant,
            scope="letters",
            starts_on=date(2025, 1, 1),
            ends_on=date(2025, 2, 1),
        ).pk,
        pause=site.pauses.create(
            kind="person",
            person=cast.owner,
            starts_on=date(2025, 8, 1),
            ends_on=date(2025, 9, 1),
            effect="owed",
        ).pk,
        dispute=dispute.pk,
        organisation=condo.pk,
        organisation_contact=contact.pk,
        site_code=site.code,
        basin=basin.pk,
        inlet=Inlet.objects.get(basin=basin).pk,
        planting=Planting.objects.filter(basin=basin).first().pk,
        gauge_code=gauge.code,
        gauge_place=gauge.places.get().pk,
        suspicion=gauge.suspicions.create(
            kind="stuck",
            start_s=factory.seconds(factory.at(date(2026, 6, 1))),
            end_s=factory.seconds(factory.at(date(2026, 6, 9))),
            facts={
                "days": 4,
                "near_um": 30_480,
                "gauges": ["G2", "G3"],
                "chance": 0.0001,
                "dry_until_s": None,
            },
        ).pk,
        outage=gauge.outages.create(
            start_s=factory.seconds(factory.at(date(2026, 3, 1))),
            end_s=factory.seconds(factory.at(date(2026, 3, 2))),
            why="no battery",
        ).pk,
        gauge_token=token.pk,
        daily_code=school.code,
        reader_link=reader_link.pk,
        reader_secret=reader_secret,
        rain_rule=RainRule.objects.create(starts_on=date(2026, 1, 1), dry_gap_s=21_600).pk,
        frequency_table=factory.make_frequency_table().pk,
        batch=batch.pk,
        reading_file=upload_file(
            gauge=gauge,
            file_name="july.csv",
            content=BytesIO(b"time,rain\n2026-07-01 15:00,0.10\n2026-07-01 15:15,x\n"),
            by=cast.coordinator,
        ).pk,
        storm=storm.pk,
        duty=duty.pk,
        duty_action="excuse",
        reminder=reminder.pk,
        visit=factory.make_visit(
            site, date(2026, 7, 1), done_by=cast.owner, findings=[("trap", "watch")], litres=8
        ).pk,
        check=ContactCheck.objects.create(person=cast.other_owner, reason=CheckReason.BOUNCED).pk,
        ask=RainAsk.ADD,
        declared=DeclaredRain.objects.create(
            storm=storm,
            site=site,
            depth_um=factory.um(0.62),
            typed="0.62 in",
            reason="A jar stood there",
            by=cast.coordinator,
        ).pk,
        flow_report=FlowReport.objects.create(
            site=site, kind="hail", ran_on=date(2026, 7, 13), person=cast.owner
        ).pk,
        flow_decision="act",
        message=failed.pk,
        enclosure=failed.enclosures.create(
            file=EnclosedFile.objects.create(
                sha256="0" * 64, content_type="application/pdf", content=b"%PDF-1.7"
            ),
            name="A-1.pdf",
        ).pk,
        household=household.pk,
        external_id=cast.owner.external_ids.create(kept_by="Assessor", value="R-7").pk,
        merge=merge(
            kept=cast.other_owner,
            gone=factory.make_person("Odile", "Farow"),
            by=cast.coordinator,
        ).merge.pk,
        person=cast.owner.pk,
        contact=cast.owner.contact_points.first().pk,
        agreement=agreement.pk,
        document=agreement.documents.get(kind="to_sign").pk,
        sealed=make_sealed(agreement).pk,
        requirement=agreement.requirements.create(kind="recording").pk,
        claim=site.restoration_claims.create(
            against="Gas utility", what="Curb and inlet", made_on=date(2026, 6, 1)
        ).pk,
        party=agreement.parties.get().pk,
        offer=offer.pk,
        asked=asked.pk,
        party_action="link",
        signing_secret=signing_secret,
        draft=draft.reference,
        step="where",
        wording=draft.wording_id,
        list_file=ListFile.objects.create(name="list.csv").pk,
        instrument="covenant",
        language="es",
        report=report.pk,
        answer_token=token_for(duty_pk=duty.pk, person_pk=cast.owner.pk),
        stop_token=signing.dumps(failed.pk, salt=STOP_SALT),
    )
