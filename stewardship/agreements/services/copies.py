"""Everybody who signed gets the signed copy: by e-mail with the file, or on paper with its pages behind the letter."""

from typing import Any

from django.db import transaction
from django.utils import timezone, translation
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from people.agents import readers_of
from people.models import Person, Program
from people.reach import address_of
from stewardship.agreements.models import Agreement, Document, Signature
from stewardship.agreements.services._shared import note
from stewardship.common.events import book_language
from stewardship.common.written import day_text
from stewardship.outbox.choices import Channel, MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.services import Enclosed, queue_message


def copy_key(document: Document, person: Person) -> str:
    """The key of the one message that brings a person their copy."""
    return f"copy-{document.pk}-{person.pk}"


@transaction.atomic
def send_copies(*, document: Document) -> list[Message]:
    """Queue the copy for each person who signed, and for whoever signed in somebody's place, once each however often it is called.

    Goes to who handles their letters, if somebody does; in the reader's language and on the reader's channel. A file is no text
    message. Whom nothing reaches is named in the agreement's history.
    """
    agreement, today = document.agreement, Program.get().today()
    people = _who_signed(agreement)
    readers = readers_of(people, on=today)
    enclosed = Enclosed(document.file_name, bytes(document.content), document.content_type)
    made, unreached = [], []
    for person in people:
        known = Message.objects.filter(key=copy_key(document, person)).first()
        if known:
            made.append(known)
            continue
        reader = readers[person.pk]
        address = address_of(reader, but=[Channel.TEXT]) if reader else None
        if reader is None or address is None:
            unreached.append(person.full_name)
            continue
        with translation.override(reader.language):
            context = _told(agreement, document, person, reader)
        made.append(
            queue_message(
                key=copy_key(document, person),
                message_class=MessageClass.ACCOUNT,
                channel=address.channel,
                to_name=reader.full_name,
                to_address=address.value,
                language=reader.language,
                template="copy",
                context=context,
                due_at=timezone.now(),
                enclosed=[enclosed],
            )
        )
    if unreached:
        with book_language():
            why = _("No address for a copy to %s: hand it over.") % ", ".join(unreached)
            if not agreement.events.filter(why=why).exists():
                note(agreement, why=why, by=None)
    return made


def _who_signed(agreement: Agreement) -> list[Person]:
    rows = Signature.objects.filter(party__agreement=agreement).order_by("party_id")
    pks = [pk for row in rows.values_list("party__person", "agent") for pk in row if pk]
    people = (
        Person.objects.select_related("household").prefetch_related("contact_points").in_bulk(pks)
    )
    return [people[pk] for pk in dict.fromkeys(pks)]


def _told(
    agreement: Agreement, document: Document, person: Person, reader: Person
) -> dict[str, Any]:
    sites = list(agreement.sites.order_by("code"))
    summary = agreement.wording.summary if agreement.language == reader.language else ""
    return {
        "names": reader.given_name,
        "for_another": person.full_name if person.pk != reader.pk else "",
        "reference": agreement.reference,
        "instrument": str(agreement.get_instrument_display()).lower(),
        "addresses": get_text_list([site.address for site in sites], _("and")),
        "begins": day_text(agreement.begins_on),
        "ends": day_text(agreement.ends_on) if agreement.ends_on else "",
        "summary": [line.strip() for line in summary.splitlines() if line.strip()],
        "file": document.file_name,
        "pages": document.pages,
        "order": f"{sites[0].street} {sites[0].address}" if sites else "",
    }
