"""How agreements and sites stand: what is missing, who may be asked, what keeps a site from being built. Reads only."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet, prefetch_related_objects
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Person
from sites.choices import Stage
from sites.models import Site
from stewardship.agreements import instruments
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DocumentKind,
    ResponsibilityRole,
)
from stewardship.agreements.models import Agreement, Document, Party, Responsibility
from stewardship.common.written import day_text

#: What each capacity gives by signing.
GIVES = {
    Capacity.OWNER: gettext_lazy("the owner’s signature"),
    Capacity.TENANT: gettext_lazy("the tenant’s acknowledgement"),
    Capacity.LANDLORD: gettext_lazy("the landlord’s consent"),
    Capacity.AGENCY_OFFICER: gettext_lazy("the agency’s signature"),
    Capacity.HELPER: gettext_lazy("the helper’s signature"),
    Capacity.PROGRAM: gettext_lazy("the program’s signature"),
}


@dataclass(frozen=True)
class Missing:
    """One signature that is missing: of a named party, or (`party` None) of somebody nobody has named yet."""

    capacity: str
    party: Party | None = None

    @property
    def asked(self) -> Person | None:
        return self.party.person if self.party else None

    @property
    def words(self) -> str:
        gives = GIVES[self.capacity]
        if self.party is None:
            return _("%(what)s: nobody is named yet") % {"what": gives}
        words = {"what": gives, "who": self.party.person}
        if self.party.declined_on:
            words["day"] = day_text(self.party.declined_on)
            return _("%(what)s: %(who)s, who declined on %(day)s") % words
        return _("%(what)s: %(who)s") % words

    def __str__(self) -> str:
        return self.words


def signers(parties: Iterable[Party]) -> list[instruments.Signer]:
    """The parties as the rules look at them; reads each one's signature."""
    return [
        instruments.Signer(
            capacity=party.capacity,
            must_sign=party.must_sign,
            signed_on=party.signature.signed_on if hasattr(party, "signature") else None,
            declined=party.declined_on is not None,
        )
        for party in parties
    ]


def parties_of(agreement: Agreement) -> list[Party]:
    """Parties with persons, agencies and signatures; no query when the agreement came from `with_signing`."""
    prefetch_related_objects(
        [agreement], "parties__person", "parties__agency", "parties__signature"
    )
    return list(agreement.parties.all())


def missing_signatures(agreement: Agreement) -> list[Missing]:
    """What is still missing before the agreement can come into force, and whom to ask; empty once it is in force or ended."""
    if agreement.state in (AgreementState.IN_FORCE, AgreementState.ENDED):
        return []
    parties = parties_of(agreement)
    return [
        Missing(gap.capacities[0], None if gap.index is None else parties[gap.index])
        for gap in instruments.gaps(agreement.instrument, signers(parties))
    ]


def current_document(agreement: Agreement) -> Document | None:
    """The newest document to sign, without its bytes."""
    return (
        agreement.documents.filter(kind=DocumentKind.TO_SIGN)
        .defer("content", "sheet")
        .order_by("-version")
        .first()
    )


def build_blockers(*, site: Site, on: date) -> list[str]:
    """Why the site may not become built on that day, one sentence each; empty when it may."""
    if site.stage == Stage.BUILT:
        return [_("%s is built already.") % site.code]
    if site.stage == Stage.RETIRED:
        return [_("%s is retired.") % site.code]
    found = []
    if not site.basins.exists():
        found.append(_("Nothing is written down yet of what was built at %s.") % site.code)
    agreements = list(site.agreements.exclude(state=AgreementState.ENDED).with_signing())
    reasons = [_agreement_blocker(agreement, on) for agreement in agreements]
    if not reasons:
        found.append(_("No agreement covers %s.") % site.code)
    elif all(reasons):
        found += [reason for reason in reasons if reason]
    return found


def _agreement_blocker(agreement: Agreement, on: date) -> str:
    """Why nothing may be built under this agreement on that day; empty when something may."""
    name = {"agreement": agreement.reference}
    if not instruments.INSTRUMENTS[agreement.instrument].covers_sites:
        return _("%(agreement)s is a helper agreement: nothing is built under it.") % name
    if agreement.state != AgreementState.IN_FORCE:
        missing = missing_signatures(agreement)
        if not missing:
            return _("%(agreement)s is not in force.") % name
        name["missing"] = "; ".join(one.words for one in missing)
        return _("%(agreement)s is not in force. Missing: %(missing)s.") % name
    if agreement.begins_on > on:
        name["day"] = day_text(agreement.begins_on)
        return _("%(agreement)s begins on %(day)s.") % name
    if agreement.ends_on and agreement.ends_on <= on:
        name["day"] = day_text(agreement.ends_on)
        return _("%(agreement)s ran out on %(day)s.") % name
    parties = parties_of(agreement)
    if not instruments.may_build(agreement.instrument, signers(parties)):
        return _("%(agreement)s is not signed by everybody it needs.") % name
    return ""


def sites_with_nobody(*, on: date) -> QuerySet[Site]:
    """Built sites where nobody in force does the work on that day."""
    doing = Responsibility.objects.as_of(on).filter(
        site=OuterRef("pk"), role=ResponsibilityRole.DOES
    )
    return Site.objects.built(on=on).filter(~Exists(doing))
