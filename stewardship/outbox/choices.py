from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Status(TextChoices):
    HELD = "held", _("Held")
    QUEUED = "queued", _("Queued")
    SENDING = "sending", _("Sending")
    SENT = "sent", _("Sent")
    FAILED = "failed", _("Failed")
    UNSURE = "unsure", _("Unsure")
    SUPPRESSED = "suppressed", _("Suppressed")


class MessageClass(TextChoices):
    """A reminder is a courtesy with an opt-out; a notice is formal; account mail is asked for by its reader."""

    REMINDER = "reminder", _("Reminder")
    NOTICE = "notice", _("Notice")
    ACCOUNT = "account", _("Account mail")


class Channel(TextChoices):
    EMAIL = "email", _("E-mail")
    TEXT = "text", _("Text message")
    LETTER = "letter", _("Letter")


#: Statuses from which a message may still be sent.
WAITING = [Status.HELD, Status.QUEUED]
#: Statuses that a person should look at.
NEEDS_A_PERSON = [Status.FAILED, Status.UNSURE]
