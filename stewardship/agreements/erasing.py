"""What agreements hold of a person whose data are erased: promises have to end first, what was signed stays byte for byte."""

from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.erasure import Share, Subject, unquote
from sites.models import SiteEvent
from stewardship.agreements.choices import AgreementState, Capacity
from stewardship.agreements.models import (
    Agreement,
    AgreementEvent,
    Dispute,
    Document,
    ListFile,
    Party,
    Pause,
    Requirement,
    Responsibility,
    Signature,
    SigningLink,
)
from stewardship.common.events import in_book_language

_ERASED = gettext_lazy("Personal data erased")


def share(sender: Any, *, subject: Subject, on: date, **kwargs: Any) -> Share:
    found = Share(stops=_stops(subject, on=on))
    found.wipe(_("why they could not care for a basin for a while"), _pauses(subject).count())
    found.wipe(_("what they said in disputes that are settled"), _disputes(subject).count())
    declined = _parties(subject).exclude(declined_why="")
    found.wipe(_("why they did not want to sign"), declined.count())
    found.wipe(_("papers with their name that nobody signed"), _unsigned(subject).count())
    signed = Document.objects.filter(
        agreement__in=Agreement.objects.filter(parties__in=_parties(subject)),
    ).exclude(pk__in=_unsigned(subject).values("pk"))
    found.keep(
        _("documents of agreements with their signature, byte for byte"),
        _(
            "Proof of who promised what: as long as the agreement binds, and after it as long as a claim can rest on it."
        ),
        signed.distinct().count(),
    )
    found.keep(
        _("signatures, with the name as signed"),
        _("They belong to the document that was signed and stand or fall with it."),
        Signature.objects.filter(
            Q(party__in=_parties(subject)) | Q(agent__in=subject.keys)
        ).count(),
    )
    found.keep(
        _("that they were responsible, where and from when until when"),
        _(
            "Who was responsible on a day has to be told for years after; it stands under the pseudonym."
        ),
        Responsibility.objects.filter(person__in=subject.keys).count(),
    )
    return found


def wipe(sender: Any, *, subject: Subject, on: date, by: Any, **kwargs: Any) -> None:
    erased = in_book_language(_ERASED)
    declined = list(_parties(subject).values_list("declined_why", flat=True))
    unquote(AgreementEvent.objects.all(), "why", declined)
    _parties(subject).update(declined_why="")
    _pauses(subject).update(why="")
    _disputes(subject).update(claim=erased)
    links = SigningLink.objects.open(at=timezone.now())
    links.filter(Q(party__person__in=subject.keys) | Q(party__signs_by__in=subject.keys)).update(
        withdrawn_at=timezone.now()
    )
    papers = list(_unsigned(subject).values_list("pk", flat=True))
    SigningLink.objects.filter(document__in=papers).delete()
    Document.objects.filter(pk__in=papers).delete()
    named = Q(agreement__parties__person__in=subject.keys)
    for model, names, about_them in (
        (Agreement, ["ended_why"], Q(parties__person__in=subject.keys)),
        (AgreementEvent, ["why"], named),
        (Dispute, ["claim", "answer", "outcome"], None),
        (ListFile, ["found"], None),
        (Party, ["declined_why"], None),
        (Pause, ["why"], None),
        (Requirement, ["words"], named),
        (Responsibility, ["ended_why"], Q(person__in=subject.keys)),
        (SiteEvent, ["why"], Q(site__responsibilities__person__in=subject.keys)),
    ):
        subject.scrub_rows(model.objects.all(), *names, about_them=about_them)


def _parties(subject: Subject) -> QuerySet[Party]:
    return Party.objects.filter(person__in=subject.keys)


def _pauses(subject: Subject) -> QuerySet[Pause]:
    return Pause.objects.filter(person__in=subject.keys).exclude(why="")


def _disputes(subject: Subject) -> QuerySet[Dispute]:
    return Dispute.objects.filter(person__in=subject.keys)


def _unsigned(subject: Subject) -> QuerySet[Document]:
    """Documents of agreements that name them, have ended, and were never signed by anybody."""
    signed = Signature.objects.filter(party__agreement=OuterRef("agreement"))
    return Document.objects.filter(
        ~Exists(signed),
        agreement__state=AgreementState.ENDED,
        agreement__in=Agreement.objects.filter(parties__in=_parties(subject)),
        requirements=None,
        acknowledgements=None,
    )


def _stops(subject: Subject, *, on: date) -> list[str]:
    """What is in force with them, and what to end first."""
    stops = []
    held = Responsibility.objects.filter(person__in=subject.keys)
    for row in held.filter(Q(ends_on=None) | Q(ends_on__gt=on)).select_related("site", "agreement"):
        stops.append(
            _(
                "%(role)s at %(site)s under %(agreement)s: end that, or let somebody take over, first."
            )
            % {"role": row.get_role_display(), "site": row.site.code, "agreement": row.agreement}
        )
    told = {row.agreement_id for row in held.filter(Q(ends_on=None) | Q(ends_on__gt=on))}
    signing = [AgreementState.DRAFT, AgreementState.OFFERED]
    parties = Party.objects.filter(Q(person__in=subject.keys) | Q(signs_by__in=subject.keys))
    for party in parties.select_related("agreement").order_by("pk"):
        agreement = party.agreement
        words = {"agreement": agreement, "capacity": party.get_capacity_display().lower()}
        if agreement.state in signing:
            stops.append(
                _(
                    "They are to sign %(agreement)s as %(capacity)s: take them out of it, or end it, first."
                )
                % words
            )
        elif (
            agreement.state == AgreementState.IN_FORCE
            and agreement.pk not in told
            and party.capacity not in (Capacity.AGENCY_OFFICER, Capacity.PROGRAM)
        ):
            stops.append(
                _("They signed %(agreement)s as %(capacity)s, and it is in force: end it first.")
                % words
            )
    for dispute in Dispute.objects.filter(person__in=subject.keys, closed_on=None).select_related(
        "site"
    ):
        stops.append(_("They dispute something at %s: settle it first.") % dispute.site.code)
    covers = Pause.objects.filter(cover__in=subject.keys)
    for pause in covers.filter(Q(ends_on=None) | Q(ends_on__gt=on)).select_related("site"):
        stops.append(
            _("They cover for somebody at %s: name somebody else first.") % pause.site.code
        )
    return list(dict.fromkeys(stops))
