"""What an agreement lacks, in words: signatures and papers, and who is asked for each. Reads only.

An agreement that is offered or in force and lacks something is *incomplete*.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from stewardship.agreements.choices import AgreementState, Capacity, RequirementKind
from stewardship.agreements.instruments import TITLE
from stewardship.agreements.models import Agreement, Party, Requirement
from stewardship.agreements.standing import GIVES, missing_signatures
from stewardship.common.written import day_text

#: Whose task it is to bring what; the first capacity that is named in the agreement.
BRINGS: dict[str, tuple[str, ...]] = {
    RequirementKind.CONSENT: (Capacity.LANDLORD, Capacity.OWNER),
    RequirementKind.INSURANCE: TITLE,
    RequirementKind.RECORDING: (Capacity.AGENCY_OFFICER, Capacity.PROGRAM),
    RequirementKind.TRANSFER: TITLE,
    RequirementKind.OTHER: (*TITLE, Capacity.TENANT, Capacity.AGENCY_OFFICER, Capacity.HELPER),
}


@dataclass(frozen=True)
class Lack:
    """One thing that is missing. `key`: a capacity or the kind of a paper; `asked`: whoever is to bring it."""

    key: str
    what: str
    asked: list[Party]
    requirement: Requirement | None = None

    @property
    def who(self) -> str:
        return get_text_list([party.person.full_name for party in self.asked], _("and"))

    def __str__(self) -> str:
        if not self.asked:
            return _("%(what)s: nobody is named yet") % {"what": self.what}
        return _("%(what)s: %(who)s") % {"what": self.what, "who": self.who}


def lacks(agreement: Agreement, *, on: date) -> list[Lack]:
    """What is missing on that day; no query when the agreement came from `with_signing`."""
    if agreement.state == AgreementState.ENDED:
        return []
    return [
        Lack(one.capacity, str(GIVES[one.capacity]), [one.party] if one.party else [])
        for one in missing_signatures(agreement)
    ] + [
        Lack(row.kind, requirement_words(row), brings(agreement, row), row)
        for row in agreement.requirements.all()
        if is_open(row, on=on)
    ]


def is_open(row: Requirement, *, on: date) -> bool:
    """The same as `Requirement.objects.open`, for rows that were read already."""
    return row.met_on is None or (row.valid_until is not None and row.valid_until < on)


def requirement_words(row: Requirement) -> str:
    if row.met_on:
        return _("%(what)s, ran out %(day)s") % {"what": row, "day": day_text(row.valid_until)}
    return str(row)


def brings(agreement: Agreement, row: Requirement) -> list[Party]:
    parties = list(agreement.parties.all())
    if row.kind == RequirementKind.INSURANCE and any(p.organisation_id for p in parties):
        return [p for p in parties if p.organisation_id]
    wanted = BRINGS[row.kind]
    first = next((c for c in wanted if any(p.capacity == c for p in parties)), None)
    return [p for p in parties if p.capacity == first]


def is_incomplete(agreement: Agreement, *, on: date) -> bool:
    """Offered or in force, and something is missing."""
    return agreement.state in (AgreementState.OFFERED, AgreementState.IN_FORCE) and bool(
        lacks(agreement, on=on)
    )


def incomplete_words(found: Iterable[Lack]) -> str:
    """ "Incomplete: missing the landlord’s consent; asked: Odile Farrow". Empty when nothing is missing."""
    found = list(found)
    if not found:
        return ""
    asked = list(dict.fromkeys(p.person.full_name for one in found for p in one.asked))
    missing = [one.what if one.asked else _("%s (nobody is named yet)") % one.what for one in found]
    said = _("Incomplete: missing %s") % "; ".join(dict.fromkeys(missing))
    if asked:
        said += "; " + _("asked: %s") % ", ".join(asked)
    return said


def lacking_words(agreement: Agreement, *, on: date) -> str:
    """What it lacks in one sentence without its full stop; of a draft, which nobody has been asked about, only what is missing."""
    found = lacks(agreement, on=on)
    if agreement.state == AgreementState.DRAFT and found:
        return _("Missing: %s") % "; ".join(map(str, found))
    return incomplete_words(found)


def incomplete(agreements: QuerySet[Agreement], *, on: date) -> list[Agreement]:
    """Those of `agreements` that are incomplete. What is missing follows from the instruments' rules, so rows are looked at:
    all that are offered, and those in force with an open requirement."""
    lacking = Requirement.objects.open(on=on).values("agreement")
    found = agreements.filter(
        Q(state=AgreementState.OFFERED) | Q(state=AgreementState.IN_FORCE, pk__in=lacking)
    )
    return [one for one in found.with_signing() if is_incomplete(one, on=on)]
