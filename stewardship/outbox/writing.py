"""Turns a message row into the exact words that go out, in the recipient's language and the program's time zone.

Letter templates live in templates/letters/: `<name>-subject.txt`, `<name>-body.txt` and, if there is one, `<name>-body.html` for
e-mail; `<name>-letter.html` for paper. They see the message's context and

    program      name, phone, email, postal_address, units, …
    to_name, to_address
    site_url     where this installation is reached, without a slash at the end
    stop_url     "no more reminders", on e-mailed reminders only
    secret       the key in a link, where there is one; kept words hold SECRET_MARK instead
"""

from dataclasses import dataclass
from email.headerregistry import Address
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core import signing
from django.core.mail import EmailMultiAlternatives
from django.template import Context, Engine, TemplateDoesNotExist
from django.urls import reverse
from django.utils import timezone, translation

from stewardship.outbox.choices import Channel, MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.sender import sender

STOP_SALT = "stewardship.outbox.stop"
#: Stands in kept words for what only the recipient may read.
SECRET_MARK = "[•••]"  # noqa: S105 - the opposite of one


@dataclass(frozen=True, slots=True)
class Written:
    """The exact words of one message. A paper letter is all `html`; `text` is the e-mail's plain part."""

    subject: str
    text: str
    html: str


def write(message: Message) -> Written:
    """Render the message's templates.

    Raises
    ------
    django.template.TemplateDoesNotExist, django.template.TemplateSyntaxError, …
        Whatever the template raises: the caller turns it into a failed message.
    """
    program = sender()
    context = message.context | {
        "program": program,
        "to_name": message.to_name,
        "to_address": message.to_address,
        "site_url": settings.SITE_URL,
        "stop_url": stop_url(message) if may_be_stopped(message) else "",
        "secret": SECRET_MARK,
    }
    name = f"letters/{message.template}"
    with translation.override(message.language), timezone.override(program.tz):
        subject = " ".join(_render(f"{name}-subject.txt", context).split())[:240]
        if message.channel == Channel.LETTER:
            return Written(subject, "", _render(f"{name}-letter.html", context))
        text = _render(f"{name}-body.txt", context).strip() + "\n"
        try:
            html = _render(f"{name}-body.html", context)
        except TemplateDoesNotExist:
            html = ""
    return Written(subject, text, html)


def _render(name: str, context: dict[str, Any]) -> str:
    """A template by name; plain text is not escaped as if it were HTML."""
    template = Engine.get_default().get_template(name)
    return template.render(Context(context, autoescape=name.endswith(".html")))


def email_of(message: Message) -> EmailMultiAlternatives:
    """The message as e-mail, from the words that were kept, with its secret and its enclosures."""
    program = sender()
    text, html = (
        words.replace(SECRET_MARK, message.secret) if message.secret else words
        for words in (message.text, message.html)
    )
    # Address() quotes a name with commas or accents, and refuses one with a line break.
    own = Address(program.name, addr_spec=parseaddr(settings.DEFAULT_FROM_EMAIL)[1])
    headers = {
        "Message-ID": message.rfc_message_id,
        # RFC 3834 §5: answering machines leave it alone.
        "Auto-Submitted": "auto-generated",
    }
    if may_be_stopped(message):
        # RFC 2369 §3.2 and RFC 8058 §3.1: one POST to this address, without cookies, stops reminders. Mail programs
        # offer it only where SITE_URL is https.
        headers["List-Unsubscribe"] = f"<{stop_url(message)}>"
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    email = EmailMultiAlternatives(
        subject=message.subject,
        body=text,
        from_email=str(own),
        to=[str(Address(message.to_name, addr_spec=message.to_address))],
        reply_to=[program.email] if program.email else None,
        headers=headers,
    )
    if html:
        email.attach_alternative(html, "text/html")
    for enclosure in message.enclosures.select_related("file"):
        file = enclosure.file
        email.attach(enclosure.name, bytes(file.content), file.content_type)
    return email


def may_be_stopped(message: Message) -> bool:
    """Reminders by e-mail carry a way out; notices and account mail do not."""
    return message.message_class == MessageClass.REMINDER and message.channel == Channel.EMAIL


def stop_url(message: Message) -> str:
    """The signed address that stops reminders. It names the message, not the person."""
    token = signing.dumps(message.pk, salt=STOP_SALT)
    return settings.SITE_URL + reverse("outbox:stop", args=[token])


def stopped_message_pk(token: str) -> int:
    """The message that a stop address belongs to. It does not grow old: a way out has to keep working.

    Raises
    ------
    django.core.signing.BadSignature
        The address was not made here, or is not whole.
    """
    return signing.loads(token, salt=STOP_SALT)
