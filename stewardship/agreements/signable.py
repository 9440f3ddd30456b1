"""Why somebody cannot sign now: for whoever asks them, and in other words for the signer alone with a page. Reads only."""

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from people.choices import AgentScope
from people.models import Agent
from stewardship.agreements import instruments
from stewardship.agreements.choices import AgreementState, SigningMethod
from stewardship.agreements.models import Agreement, Document, Party, Signature
from stewardship.agreements.standing import current_document, parties_of, signers
from stewardship.agreements.works import works_mark
from stewardship.common.written import day_text


@dataclass(frozen=True, slots=True)
class Hindrance:
    """What stands in the way: `words` for the coordinator, `signer_words` for who signs."""

    words: str
    signer_words: str


def agent_for(party: Party, *, on: date) -> Agent | None:
    """The right by which somebody signs for the party on that day; None: there is none, or they sign themselves."""
    if party.signs_by_id is None:
        return None
    return (
        Agent.objects.on(on)
        .filter(principal=party.person_id, agent=party.signs_by_id, scope=AgentScope.SIGNS)
        .exclude(authority="")
        .select_related("agent")
        .first()
    )


def hindrance(
    *, agreement: Agreement, party: Party, document: Document, on: date, method: str
) -> Hindrance | None:
    """Why the party cannot sign this document on that day in that way; None when they can.

    On paper people sign in whatever order the sheet goes round, so that order is kept on screens only.
    """
    return (
        _of_the_agreement(agreement, party, document)
        or _of_the_day(agreement, document, on)
        or _of_people(agreement, party, on, method)
        or _of_the_works(agreement, document)
    )


def _of_the_agreement(agreement: Agreement, party: Party, document: Document) -> Hindrance | None:
    if Signature.objects.filter(party=party).exists():
        return _same(_("The signature of %s has been recorded already.") % party)
    if agreement.state == AgreementState.DRAFT:
        return Hindrance(
            _("%s has not been offered yet: make the document first.") % agreement,
            _("This agreement is being changed. You get the new document once it is ready."),
        )
    if agreement.state == AgreementState.ENDED:
        return _same(_("%s has ended; it is not signed any more.") % agreement)
    if agreement.state == AgreementState.IN_FORCE:
        return _same(
            _("%s is in force: everybody it needs has signed, and nobody joins it now.") % agreement
        )
    newest = current_document(agreement)
    if newest is None or document.agreement_id != agreement.pk or document.pk != newest.pk:
        return Hindrance(
            _("That is not the newest document of %(agreement)s; have %(file)s signed.")
            % {"agreement": agreement, "file": newest.file_name if newest else "?"},
            _("There is a newer document of this agreement; read and sign that one."),
        )
    return None


def _of_the_day(agreement: Agreement, document: Document, on: date) -> Hindrance | None:
    if on < document.dated:
        return _same(
            _("The document is of %s; it cannot have been signed before.")
            % day_text(document.dated)
        )
    until = agreement.offer_until
    if until and on > until:
        return Hindrance(
            _("The offer stood until %s. Let it stand longer, or make the document anew.")
            % day_text(until),
            _("This offer stood until %s. Tell us if you still want to sign.") % day_text(until),
        )
    return None


def _of_people(agreement: Agreement, party: Party, on: date, method: str) -> Hindrance | None:
    parties = parties_of(agreement)
    for one in parties:
        if one.declined_on and (one.must_sign or one.pk == party.pk):
            words = {"who": one, "day": day_text(one.declined_on)}
            return Hindrance(
                _("%(who)s declined on %(day)s. Ask them again, or make another document.") % words,
                _("Somebody has declined this agreement, so nobody signs it as it stands."),
            )
    died = party.person.died_on
    if died and on >= died:
        return _same(_("%s is written down as having died; somebody else has to be named.") % party)
    if party.signs_by_id and agent_for(party, on=on) is None:
        words = {"agent": party.signs_by, "party": party.person, "day": day_text(on)}
        return _same(
            _("Nothing in the book gives %(agent)s the right to sign for %(party)s on %(day)s.")
            % words
        )
    if method == SigningMethod.SCREEN:
        index = next(i for i, one in enumerate(parties) if one.pk == party.pk)
        first = instruments.waits_for(agreement.instrument, signers(parties), index)
        if first:
            names = "; ".join(str(parties[i]) for i in first)
            words = {"party": party, "names": names}
            return _same(_("%(party)s signs after the others. Still to sign: %(names)s.") % words)
    return None


def _of_the_works(agreement: Agreement, document: Document) -> Hindrance | None:
    if not document.works_sha256 or document.works_sha256 == works_mark(agreement):
        return None
    signed = Signature.objects.filter(party__agreement=agreement).exists()
    return Hindrance(
        _(
            "What will be built was changed since this document was made. Put it back, or end the agreement"
            " and write a new one: somebody has signed this one."
        )
        if signed
        else _("What will be built was changed since this document was made; offer a new one."),
        _(
            "What will be built was changed since this document was made. You get a new one to sign."
        ),
    )


def _same(words: str) -> Hindrance:
    return Hindrance(words, words)
