"""Messages of somebody whose data are erased: those that wait do not leave, what was sent tells no more what to whom, notices stay."""

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.outbox.choices import Channel, MessageClass, Status
from stewardship.outbox.models import EnclosedFile, Message, OptOut
from stewardship.outbox.services import suppress_message

#: What stands in the place of an address.
NO_ADDRESS = "–"


#: A notice in one of these went out, or was tried: that it was is proof.
TRIED = (Status.SENT, Status.FAILED, Status.UNSURE)


def proofs(messages: QuerySet[Message]) -> QuerySet[Message]:
    """Formal notices that went out or were tried: kept word for word, with the address used."""
    return messages.filter(message_class=MessageClass.NOTICE, status__in=TRIED)


def wipe_messages(*, messages: QuerySet[Message], pseudonym: str, why: str, by: Any) -> int:
    """Wipe recipient and words of these messages but the proofs; returns how many. None of them leaves; that and when some did stays.

    Raises
    ------
    Refused : one of them is being sent this moment.
    """
    if messages.filter(status=Status.SENDING).exists():
        raise Refused(_("A message to them is being sent this moment; try again in a minute."))
    kept = set(proofs(messages).values_list("pk", flat=True))
    wiped = 0
    for message in messages.order_by("pk"):
        if message.status != Status.SENT:
            suppress_message(message=message, why=why, by=by)
        if message.pk in kept:
            continue
        Message.objects.filter(pk=message.pk).update(
            to_name=pseudonym,
            to_address=NO_ADDRESS,
            subject="",
            text="",
            html="",
            context={},
            secret="",
            error="",
        )
        message.events.exclude(why="").update(why="")
        files = list(message.enclosures.values_list("file", flat=True))
        message.enclosures.all().delete()
        EnclosedFile.objects.filter(pk__in=files, enclosures=None).delete()
        wiped += 1
    return wiped


def forget_opt_outs(addresses: list[str]) -> int:
    """Nobody is reached at these addresses any more; that reminders were not wanted there is forgotten with them."""
    wanted = [OptOut.normalise(address) for address in addresses]
    return OptOut.objects.filter(address__in=wanted, channel__in=Channel.values).delete()[0]
