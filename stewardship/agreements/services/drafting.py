"""Writing an agreement up: draft, parties, the duties that were walked through."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Agency, Organisation, Person, Program, User
from sites.models import Site
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DutyGroup,
    InstrumentKind,
    ResponsibilityRole,
    Sharing,
)
from stewardship.agreements.instruments import INSTRUMENTS, Signer, responsibilities
from stewardship.agreements.models import Agreement, DutyShown, Party
from stewardship.agreements.services._shared import (
    back_to_draft,
    locked,
    note,
    refuse_after_signing,
)
from stewardship.agreements.services.wordings import newest_wording
from stewardship.common.errors import Refused
from stewardship.common.events import book_language

#: What is settled in an agreement besides parties and sites; fields of `Agreement`.
TERMS = frozenset({"cure_days", "notices_by", "sharing", "seller_owes_until_proof"})
#: Capacities in which somebody may sign for an organisation: the constraint on `Party` says the same.
HOLDING = (Capacity.OWNER, Capacity.TENANT, Capacity.LANDLORD)
TRIES = 5  # references handed out at the same moment
UNCHANGED: Any = object()


def _next_reference(year: int, attempt: int) -> str:
    stem = f"A-{year}-"
    numbers = [
        int(tail)
        for reference in Agreement.objects.filter(reference__startswith=stem).values_list(
            "reference", flat=True
        )
        if (tail := reference.removeprefix(stem)).isdecimal()
    ]
    return f"{stem}{max(numbers, default=0) + 1 + attempt:03d}"


def draft_agreement(
    *,
    reference: str | None = None,
    instrument: str,
    sites: Iterable[Site] = (),
    language: str = "en",
    begins_on: date | None = None,
    by: User | None = None,
) -> Agreement:
    """A draft, with a reference of its own unless one is given. `begins_on`: not before this day, whenever it is signed.

    Raises
    ------
    Refused : the reference is taken, or the instrument has no wording.
    """
    wording = newest_wording(instrument, language)
    sites = list(sites)
    year = Program.get().today().year
    for attempt in range(TRIES):
        wanted = reference or _next_reference(year, attempt)
        try:
            with transaction.atomic():
                agreement = Agreement.objects.create(
                    reference=wanted,
                    instrument=instrument,
                    wording=wording,
                    language=wording.language,
                    begins_on=begins_on,
                )
                agreement.sites.set(sites)
                with book_language():
                    note(agreement, was="", why=_("Drafted"), by=by)
                return agreement
        except IntegrityError:
            if reference:
                raise Refused(_("There is an agreement %s already.") % reference) from None
    raise Refused(_("Another agreement was drafted at the same moment; try once more."))


@transaction.atomic
def change_draft(
    *,
    agreement: Agreement,
    instrument: str | None = None,
    language: str | None = None,
    begins_on: date | None = UNCHANGED,
    sites: Iterable[Site] | None = None,
    terms: dict[str, Any] | None = None,
    parts: dict[Party, str] | None = None,
    by: User | None = None,
) -> Agreement:
    """Change what nobody has signed yet. What is not given stays; `begins_on=None` clears the day.

    `terms` are of `TERMS`; `parts` says of parties which part of the sites is theirs.

    Raises
    ------
    Refused : somebody has signed, somebody named cannot sign in that capacity under the new instrument, or each is to care
        for a part and it is not said of everybody who would do the work which.
    """
    agreement = locked(agreement)
    refuse_after_signing(agreement)
    changed = []
    kind = instrument or agreement.instrument
    if kind != agreement.instrument:
        for party in agreement.parties.select_related("person"):
            _refuse_capacity(kind, party.capacity)
    if kind != agreement.instrument or language not in (None, agreement.language):
        agreement.wording = newest_wording(kind, language or agreement.language)
        agreement.instrument, agreement.language = kind, agreement.wording.language
        changed.append(gettext_lazy("instrument or language"))
    if begins_on is not UNCHANGED and begins_on != agreement.begins_on:
        agreement.begins_on = begins_on
        changed.append(gettext_lazy("first day"))
    if sites is not None and set(sites := list(sites)) != set(agreement.sites.all()):
        agreement.sites.set(sites)
        changed.append(gettext_lazy("sites"))
    if terms:
        changed += _set_terms(agreement, terms)
    if parts:
        changed += _set_parts(agreement, parts)
    if terms or parts:
        _refuse_without_parts(agreement)
    if changed:
        agreement.save()
        with book_language():
            words = ", ".join(map(str, changed))
            back_to_draft(agreement, why=_("Changed: %s") % words, by=by)
    return agreement


def _set_terms(agreement: Agreement, terms: dict[str, Any]) -> list[str]:
    """Set them, and give the names of those that were different."""
    unknown = set(terms) - TERMS
    if unknown:
        raise TypeError(f"not terms of an agreement: {', '.join(sorted(unknown))}")
    changed = [name for name, value in terms.items() if getattr(agreement, name) != value]
    for name in changed:
        setattr(agreement, name, terms[name])
    return [Agreement._meta.get_field(name).verbose_name for name in changed]


def _set_parts(agreement: Agreement, parts: dict[Party, str]) -> list[str]:
    changed = False
    for party, part in parts.items():
        part = " ".join(part.split())[:160]
        changed |= agreement.parties.filter(pk=party.pk).exclude(part=part).update(part=part) > 0
    return [gettext_lazy("who cares for which part")] if changed else []


def _refuse_without_parts(agreement: Agreement) -> None:
    """Where each cares for a part, it is said of everybody who would do the work which."""
    if agreement.sharing != Sharing.PARTS:
        return
    parties = list(agreement.parties.select_related("person").order_by("pk"))
    facts = [Signer(capacity=party.capacity, must_sign=party.must_sign) for party in parties]
    doers = [
        parties[one.index]
        for one in responsibilities(agreement.instrument, facts)
        if one.role == ResponsibilityRole.DOES
    ]
    silent = [str(party.person) for party in doers if not party.part]
    if len(doers) < 2:
        raise Refused(_("Only one is named who does the work; parts need at least two."))
    if silent:
        raise Refused(_("Say which part is cared for by %s.") % get_text_list(silent, _("and")))


def _refuse_capacity(instrument: str, capacity: str) -> None:
    if capacity not in INSTRUMENTS[instrument].capacities:
        raise Refused(
            _("“%(instrument)s” is not signed by anybody as %(capacity)s.")
            % {
                "instrument": InstrumentKind(instrument).label,
                "capacity": Capacity(capacity).label.lower(),
            }
        )


@transaction.atomic
def add_party(
    *,
    agreement: Agreement,
    person: Person,
    capacity: str,
    agency: Agency | None = None,
    organisation: Organisation | None = None,
    must_sign: bool | None = None,
    by: User | None = None,
) -> Party:
    """Name somebody in the agreement, and in what capacity. Everybody named must sign unless `must_sign` is False.

    With `organisation`, they sign for it and it holds the ground.

    Raises
    ------
    Refused : somebody has signed, they are named in that capacity, the instrument has no such party, an officer's
        agency is missing, or an organisation is signed for in a capacity in which nobody does.
    """
    agreement = locked(agreement)
    refuse_after_signing(agreement)
    _refuse_capacity(agreement.instrument, capacity)
    officer = capacity == Capacity.AGENCY_OFFICER
    agency = agency or (person.agency if officer else None)
    if officer and agency is None:
        raise Refused(_("Say which agency %s signs for.") % person)
    if organisation and capacity not in HOLDING:
        raise Refused(
            _("Nobody signs for an organisation as %s.") % Capacity(capacity).label.lower()
        )
    if agreement.parties.filter(person=person, capacity=capacity).exists():
        raise Refused(
            _("%(person)s is named as %(capacity)s already.")
            % {"person": person, "capacity": Capacity(capacity).label.lower()}
        )
    party = Party.objects.create(
        agreement=agreement,
        person=person,
        capacity=capacity,
        agency=agency if officer else None,
        organisation=organisation,
        must_sign=True if must_sign is None else must_sign,
    )
    with book_language():
        back_to_draft(agreement, why=_("Named: %s") % party, by=by)
    return party


@transaction.atomic
def remove_party(*, party: Party, by: User | None = None) -> None:
    """Take somebody out of an agreement that nobody has signed.

    Raises
    ------
    Refused : somebody has signed.
    """
    agreement = locked(party.agreement)
    refuse_after_signing(agreement)
    with book_language():
        words = str(party)
        party.delete()
        back_to_draft(agreement, why=_("No longer named: %s") % words, by=by)


@transaction.atomic
def show_duties(
    *, agreement: Agreement, groups: Iterable[str], by: User | None = None
) -> list[DutyShown]:
    """Set which groups of duties were walked through with the household.

    Raises
    ------
    Refused : the agreement is in force or ended.
    """
    agreement = locked(agreement)
    if agreement.state not in (AgreementState.DRAFT, AgreementState.OFFERED):
        raise Refused(_("%s is signed; what was walked through stays as it was.") % agreement)
    groups = [group for group in DutyGroup.values if group in set(groups)]
    agreement.duties_shown.exclude(group__in=groups).delete()
    have = set(agreement.duties_shown.values_list("group", flat=True))
    DutyShown.objects.bulk_create(
        DutyShown(agreement=agreement, group=group) for group in groups if group not in have
    )
    return list(agreement.duties_shown.all())
