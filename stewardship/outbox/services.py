"""What may happen to a message, apart from sending it: lock, check its status, write, leave an event."""

import hashlib
import logging
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from email.utils import make_msgid, parseaddr
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.outbox.choices import NEEDS_A_PERSON, WAITING, Channel, MessageClass, Status
from stewardship.outbox.leaving import objection_to
from stewardship.outbox.models import EnclosedFile, Enclosure, Message, MessageEvent, OptOut
from stewardship.outbox.writing import Written, write

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Enclosed:
    """A PDF that goes out with a message: attached to an e-mail, printed behind a letter."""

    name: str
    content: bytes
    content_type: str = "application/pdf"


def queue_message(
    *,
    key: str,
    message_class: str,
    channel: str,
    to_name: str,
    to_address: str,
    language: str,
    template: str,
    context: dict[str, Any],
    due_at: datetime,
    enclosed: Iterable[Enclosed] = (),
    secret: str = "",
) -> Message:
    """Put a message into the outbox. The same key again gives the message that is there, untouched.

    `context` is plain JSON; `template` names templates/letters/<template>-…. `secret` is the key in a link: the templates write
    it as {{ secret }}, the recipient gets it, and nobody else reads it here.

    Raises
    ------
    Refused
        The address is missing, or is none for this channel.
    """
    to_address = to_address.strip()
    _check_address(to_name=to_name, to_address=to_address, channel=channel)
    status, why = _first_status(message_class, channel, to_address)
    with transaction.atomic():
        message, made = Message.objects.get_or_create(
            key=key,
            defaults={
                "message_class": MessageClass(message_class),
                "channel": Channel(channel),
                "status": status,
                "to_name": to_name,
                "to_address": to_address,
                "language": language,
                "template": template,
                "context": context,
                "rfc_message_id": make_msgid(domain=_domain()),
                "due_at": due_at,
                "error": why,
                "secret": "" if status == Status.SUPPRESSED else secret,
            },
        )
        if made:
            for one in enclosed:
                _enclose(message, one)
            MessageEvent.objects.create(message=message, became=status, why=why)
            if objection := objection_to(message):
                stop_message(message=message, why=objection)
                message.refresh_from_db()
    return message


def _enclose(message: Message, one: Enclosed) -> None:
    sha256 = hashlib.sha256(one.content).hexdigest()
    file, _made = EnclosedFile.objects.get_or_create(
        sha256=sha256, defaults={"content_type": one.content_type, "content": one.content}
    )
    Enclosure.objects.get_or_create(message=message, file=file, defaults={"name": one.name})


def suppress_message(*, message: Message, why: str, by: Any = None) -> Message:
    """Do not send it. Not possible once it has gone out or while it is going out."""
    with transaction.atomic():
        message = _locked(message)
        if message.status == Status.SUPPRESSED:
            return message
        if message.status in (Status.SENT, Status.SENDING):
            raise Refused(
                _("This message to %(name)s has gone out already.") % {"name": message.to_name}
            )
        return _move(message, Status.SUPPRESSED, why=why, by=by, error=why)


def stop_message(*, message: Message, why: str) -> None:
    """It may not leave. A notice fails, so that a person sees that it has to go another way; anything else is suppressed."""
    with transaction.atomic():
        message = _locked(message)
        if message.status in WAITING:
            is_notice = message.message_class == MessageClass.NOTICE
            became = Status.FAILED if is_notice else Status.SUPPRESSED
            _move(message, became, why=why[:400], error=why[:400])


def stop_letters_to(
    *, name: str, addresses: Iterable[str], why: str, by: Any = None, but_notices: bool = False
) -> int:
    """Nothing that has not arrived goes to somebody of that name at these addresses any more. Returns how many that were."""
    addresses = {" ".join(address.split()).casefold() for address in addresses}
    stopped = 0
    with transaction.atomic():
        rows = Message.objects.select_for_update().filter(
            to_name=name, status__in=[*WAITING, *NEEDS_A_PERSON]
        )
        for message in rows.order_by("pk"):
            if but_notices and message.message_class == MessageClass.NOTICE:
                continue
            if " ".join(message.to_address.split()).casefold() in addresses:
                _move(message, Status.SUPPRESSED, why=why, by=by, error=why[:400])
                stopped += 1
    return stopped


def retry_message(*, message: Message, by: Any = None) -> Message:
    """Send a failed or unsure message again, as the same message: one Message-ID, the same words."""
    with transaction.atomic():
        message = _locked(message)
        if message.status not in NEEDS_A_PERSON:
            raise Refused(_("Only a message that failed or is unsure can be sent again."))
        status, why = _first_status(message.message_class, message.channel, message.to_address)
        if status != Status.QUEUED or (why := objection_to(message)):
            raise Refused(why)
        return _move(
            message,
            Status.QUEUED,
            why=_("Send it again"),
            by=by,
            due_at=timezone.now(),
            tries=0,
            error="",
            error_code="",
        )


def confirm_sent(*, message: Message, by: Any = None) -> Message:
    """Somebody found out that an unsure message did arrive."""
    with transaction.atomic():
        message = _locked(message)
        if message.status != Status.UNSURE:
            raise Refused(_("Only an unsure message can be settled as sent."))
        sent_at = message.taken_at or timezone.now()
        return _move(message, Status.SENT, why=_("It did arrive"), by=by, sent_at=sent_at, error="")


def mark_posted(*, message: Message, by: Any = None) -> Message:
    """A printed letter is in the post. Its exact words are kept, if they were not yet."""
    if message.channel != Channel.LETTER:
        raise Refused(_("Only letters on paper are posted."))
    written = None if message.html else _written(message)
    with transaction.atomic():
        message = _locked(message)
        if message.status != Status.QUEUED:
            raise Refused(
                _("The letter to %(name)s is not waiting to be posted.") % {"name": message.to_name}
            )
        if written and not message.html:
            keep_words(message, written)
        return _move(message, Status.SENT, why=_("Posted"), by=by, sent_at=timezone.now())


def keep_words(message: Message, written: Written) -> None:
    """Keep the exact words that go out."""
    message.subject, message.text, message.html = written.subject, written.text, written.html
    message.save(update_fields=["subject", "text", "html"])


def stop_reminders(*, address: str, channel: str) -> OptOut:
    """No more reminders to this address. Those that wait are suppressed; notices are not touched."""
    with transaction.atomic():
        opt_out, _made = OptOut.objects.get_or_create(
            address=OptOut.normalise(address), channel=Channel(channel), ended_at=None
        )
        waiting = Message.objects.waiting_for(address, channel).filter(
            message_class=MessageClass.REMINDER
        )
        for message in waiting.select_for_update():
            _move(message, Status.SUPPRESSED, why=_no_reminders(), error=_no_reminders())
    return opt_out


def allow_reminders(*, address: str, channel: str) -> None:
    """Reminders to this address again, from the next one on."""
    OptOut.objects.of(address, channel).standing().update(ended_at=timezone.now())


def wants_no_reminders(*, address: str, channel: str) -> bool:
    return OptOut.objects.of(address, channel).standing().exists()


def walking_order(letters: Iterable[Message]) -> list[Message]:
    """Letters by language, then in the order they are carried round (context "order"), then as they were queued."""

    def place(letter: Message) -> tuple:
        order = str(letter.context.get("order", ""))
        # Runs of digits count as numbers: 110 Saltbush Street comes before 1010.
        parts = [
            (0, int(p), "") if p.isdecimal() else (1, 0, p) for p in re.split(r"(\d+)", order) if p
        ]
        return letter.language, not parts, parts, letter.pk

    return sorted(letters, key=place)


def _written(message: Message) -> Written:
    try:
        return write(message)
    except Exception as error:
        log.exception("Letter %s could not be written", message.pk)
        raise Refused(
            _("The letter to %(name)s could not be written: %(text)s")
            % {"name": message.to_name, "text": error}
        ) from error


def _no_reminders() -> str:
    return _("This address has asked for no more reminders.")


def _first_status(message_class: str, channel: str, address: str) -> tuple[str, str]:
    """The status a message starts in, and why it is not simply queued."""
    if message_class == MessageClass.REMINDER and wants_no_reminders(
        address=address, channel=channel
    ):
        return Status.SUPPRESSED, _no_reminders()
    if channel == Channel.TEXT:
        return Status.HELD, _("No text-message service is set up here; reach them another way.")
    return Status.QUEUED, ""


def _check_address(*, to_name: str, to_address: str, channel: str) -> None:
    name = to_name or _("This person")
    if not to_address:
        raise Refused(
            {
                Channel.EMAIL: _("%(name)s has no e-mail address that works."),
                Channel.TEXT: _("%(name)s has no phone number that works."),
                Channel.LETTER: _("%(name)s has no postal address that works."),
            }[Channel(channel)]
            % {"name": name}
        )
    if channel == Channel.EMAIL:
        try:
            validate_email(to_address)
        except ValidationError:
            raise Refused(
                _("“%(address)s”, kept for %(name)s, is not an e-mail address.")
                % {"address": to_address, "name": name}
            ) from None


def _domain() -> str:
    """The right-hand side of our Message-IDs (RFC 5322 §3.6.4): the domain that our letters come from."""
    return parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"


def _locked(message: Message) -> Message:
    return Message.objects.select_for_update().get(pk=message.pk)


def _move(message: Message, became: str, *, why: str, by: Any = None, **fields: Any) -> Message:
    """Write the new status with its event. The row is locked by the caller."""
    was, message.status = message.status, became
    if became in (Status.SENT, Status.SUPPRESSED):
        fields["secret"] = ""
    for name, value in fields.items():
        setattr(message, name, value)
    message.save(update_fields=["status", *fields])
    MessageEvent.objects.create(message=message, was=was, became=became, why=why, by=by)
    return message
