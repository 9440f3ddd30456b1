"""What can be shown about one site without telling how to reach anybody: chain, documents, visits, findings, duties."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from people.models import OrganisationContact
from sites.models import Site
from stewardship.agreements.choices import PauseKind
from stewardship.agreements.models import (
    Agreement,
    Document,
    Party,
    Pause,
    Responsibility,
)
from stewardship.care.models import Duty, Finding, Reminder, Visit
from stewardship.reports.duties import FATES, fates_of

#: How many of the newest visits and duties the proof page shows.
SHOWN = 40


@dataclass(frozen=True)
class SeenVisit:
    """A visit and who did it, by part rather than by name."""

    visit: Visit
    done_by: str


@dataclass(frozen=True)
class ToldDuty:
    duty: Duty
    fate: str
    words: str


@dataclass(frozen=True)
class Proof:
    """Rows about one site; `held_on` are the responsibilities that held on the day that was asked about.

    `told` is what went to people of the agency that owns the ground: their own letters, word for word.
    """

    chain: list[Responsibility]
    held_on: set[int]
    agreements: list[Agreement]
    visits: list[SeenVisit]
    duties: list[ToldDuty]
    told: list[Reminder]
    rests: Pause | None = None


def proof_of(site: Site, *, on: date, today: date) -> Proof:
    """The proof for a site, with the chain of responsibility as it held on `on`."""
    chain = list(Responsibility.objects.for_site(site))
    holders = {held.person_id for held in chain if held.person_id}
    bodies = {held.organisation_id for held in chain if held.organisation_id}
    holders |= set(
        OrganisationContact.objects.filter(organisation__in=bodies).values_list("person", flat=True)
    )
    visits = (
        Visit.objects.filter(site=site)
        .select_related("done_by__volunteer", "done_by_agency")
        .prefetch_related(Prefetch("findings", Finding.objects.select_related("basin__site")))
    )[:SHOWN]
    duties = list(Duty.objects.filter(site=site).order_by("-opened_on", "-pk")[:SHOWN])
    fates = fates_of(duties, as_of=today)
    return Proof(
        chain=chain,
        held_on=set(
            Responsibility.objects.as_of(on).filter(site=site).values_list("pk", flat=True)
        ),
        agreements=list(_agreements(site)),
        visits=[SeenVisit(visit, _part_of(visit, holders)) for visit in visits],
        duties=[ToldDuty(duty, fates[duty.pk], str(FATES[fates[duty.pk]])) for duty in duties],
        told=list(_told(site)),
        rests=Pause.objects.on(today).filter(site=site, kind=PauseKind.WORKS).first(),
    )


def _agreements(site: Site) -> QuerySet[Agreement]:
    return (
        Agreement.objects.filter(Q(sites=site))
        .order_by("begins_on", "pk")
        .prefetch_related(
            Prefetch("parties", Party.objects.select_related("person", "agency", "signature")),
            Prefetch("documents", Document.objects.defer("content")),
        )
    )


def _told(site: Site) -> QuerySet[Reminder]:
    if site.agency_id is None:
        return Reminder.objects.none()
    return (
        Reminder.objects.filter(duty__site=site, person__agency=site.agency_id)
        .exclude(message=None)
        .select_related("message")
        .defer("message__html", "message__context")
        .order_by("-made_at", "-pk")[:SHOWN]
    )


def _part_of(visit: Visit, holders: set[int]) -> str:
    if visit.done_by_agency:
        return visit.done_by_agency.name
    if visit.done_by is None:
        return _("not written down")
    if visit.done_by_id in holders:
        return _("responsible party")
    return _("volunteer") if hasattr(visit.done_by, "volunteer") else _("somebody else")
