"""What a party does besides signing: declining, being asked again, having somebody sign for them."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, Program, User
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Party, Signature
from stewardship.agreements.services._shared import locked, note, refuse_future
from stewardship.agreements.services.links import shut_links
from stewardship.agreements.signable import agent_for
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


@transaction.atomic
def decline(*, party: Party, on: date, why: str = "", by: User | None = None) -> Party:
    """The party does not want to sign. Nobody signs the document any more until they are asked again or there is another one.

    Raises
    ------
    Refused : the agreement is not offered, the party has signed or declined, or the day is yet to come.
    """
    refuse_future(on, _("The day on which somebody declined is not in the future."))
    agreement = locked(party.agreement)
    party = Party.objects.select_related("person").get(pk=party.pk)
    if agreement.state != AgreementState.OFFERED:
        raise Refused(_("%s is not offered, so there is nothing to decline.") % agreement)
    if Signature.objects.filter(party=party).exists():
        raise Refused(_("%s has signed. What was signed is ended, not declined.") % party.person)
    if party.declined_on:
        raise Refused(_("%s has declined already.") % party.person)
    party.declined_on, party.declined_why = on, " ".join(why.split())[:200]
    party.save(update_fields=["declined_on", "declined_why"])
    shut_links(party=party)
    words = {"party": party, "why": party.declined_why or "–"}
    with book_language():
        note(agreement, why=_("Declined by %(party)s: %(why)s") % words, by=by)
    return party


@transaction.atomic
def ask_again(*, party: Party, by: User | None = None) -> Party:
    """Somebody who declined is asked again, with the same document.

    Raises
    ------
    Refused : they did not decline.
    """
    agreement = locked(party.agreement)
    party = Party.objects.select_related("person").get(pk=party.pk)
    if not party.declined_on:
        raise Refused(_("%s did not decline.") % party.person)
    party.declined_on, party.declined_why = None, ""
    party.save(update_fields=["declined_on", "declined_why"])
    with book_language():
        note(agreement, why=_("Asked again: %s") % party, by=by)
    return party


@transaction.atomic
def let_sign(*, party: Party, agent: Person | None, by: User | None = None) -> Party:
    """Somebody with the right to do so signs for the party; None: they sign themselves.

    Raises
    ------
    Refused : the party has signed, or nothing gives that person the right today.
    """
    agreement = locked(party.agreement)
    party = Party.objects.select_related("person").get(pk=party.pk)
    if Signature.objects.filter(party=party).exists():
        raise Refused(_("The signature of %s has been recorded already.") % party)
    party.signs_by = agent
    today = Program.get().today()
    if agent and agent_for(party, on=today) is None:
        words = {"agent": agent, "party": party.person, "day": day_text(today)}
        raise Refused(
            _("Nothing in the book gives %(agent)s the right to sign for %(party)s on %(day)s.")
            % words
        )
    party.save(update_fields=["signs_by"])
    shut_links(party=party)
    with book_language():
        words = {"party": party, "who": agent or party.person}
        note(agreement, why=_("%(who)s signs for %(party)s") % words, by=by)
    return party
