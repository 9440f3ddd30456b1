"""Letters as rows, whatever the channel. Knows addresses, templates and JSON; never who or why."""

from datetime import datetime
from typing import Self

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from stewardship.common.constraints import in_order, one_of
from stewardship.common.events import StateEvent
from stewardship.outbox.choices import NEEDS_A_PERSON, WAITING, Channel, MessageClass, Status

#: The mail server says that nobody can be reached there: enhanced status codes X.1.* (address) and X.2.* (mailbox) of
#: RFC 3463 §3.2–3.3 with class 5, and the plain reply codes of RFC 5321 §4.2.3 that say the same.
NOBODY_THERE = Q(error_code__startswith="5.1.") | Q(error_code__startswith="5.2.")
NOBODY_THERE |= Q(error_code__in=["550", "551", "553"])


class MessageQuerySet(models.QuerySet["Message"]):
    def due(self, *, at: datetime) -> Self:
        """Queued messages whose time has come, oldest first."""
        return self.filter(status=Status.QUEUED, due_at__lte=at).order_by("due_at", "pk")

    def to_send(self, *, at: datetime, reminders: bool) -> Self:
        """Due messages that we can send ourselves; without reminders outside the hours for them."""
        ready = self.due(at=at).filter(channel=Channel.EMAIL)
        return ready if reminders else ready.exclude(message_class=MessageClass.REMINDER)

    def waiting_for(self, address: str, channel: str) -> Self:
        """Messages to that address that have not gone out."""
        return self.filter(status__in=WAITING, channel=channel, to_address__iexact=address.strip())

    def bounced(self) -> Self:
        """Failed because the mail server says that this address reaches nobody."""
        return self.filter(NOBODY_THERE, status=Status.FAILED)

    def stuck_sending(self, *, since: datetime) -> Self:
        """Messages whose sender took them before `since` and never said how it went."""
        return self.filter(status=Status.SENDING, taken_at__lt=since)

    def needing_a_person(self) -> Self:
        return self.filter(status__in=NEEDS_A_PERSON)

    def to_print(self) -> Self:
        """Letters that wait for somebody to print and post them."""
        return self.filter(channel=Channel.LETTER, status=Status.QUEUED)


class Message(models.Model):
    """One message to one address. `key` says what, to whom, for which period: the same key is the same message."""

    key = models.CharField(max_length=200, unique=True)
    message_class = models.CharField(_("class"), max_length=12, choices=MessageClass)
    channel = models.CharField(_("channel"), max_length=8, choices=Channel)
    status = models.CharField(_("status"), max_length=12, choices=Status, default=Status.QUEUED)
    to_name = models.CharField(_("to"), max_length=160)
    to_address = models.CharField(_("address"), max_length=300)
    language = models.CharField(_("language"), max_length=8, default="en")
    template = models.CharField(_("template"), max_length=80)
    context = models.JSONField(_("what it tells"), default=dict)
    subject = models.CharField(_("subject"), max_length=240, blank=True)
    text = models.TextField(_("exact text"), blank=True)
    html = models.TextField(blank=True)
    #: What only the recipient may read, the key of a link: it stands in no kept words, and is forgotten once sent.
    secret = models.CharField(max_length=200, blank=True, editable=False)
    rfc_message_id = models.CharField("Message-ID", max_length=200, unique=True)
    queued_at = models.DateTimeField(_("queued"), default=timezone.now)
    due_at = models.DateTimeField(_("due"))
    taken_at = models.DateTimeField(_("taken by a sender"), null=True, blank=True)
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    tries = models.PositiveSmallIntegerField(_("tries"), default=0)
    retried_at = models.DateTimeField(
        _("sent again because nobody could tell"), null=True, blank=True
    )
    error = models.CharField(_("what went wrong"), max_length=400, blank=True)
    error_code = models.CharField(
        _("reply code"), max_length=12, blank=True, help_text=_("RFC 3463, or RFC 5321 without it.")
    )

    objects = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-queued_at", "-pk"]
        indexes = [
            # MessageQuerySet.due(): what the sweep asks every few seconds
            models.Index(fields=["due_at"], condition=Q(status=Status.QUEUED), name="message_due"),
            # MessageQuerySet.stuck_sending()
            models.Index(
                fields=["taken_at"], condition=Q(status=Status.SENDING), name="message_sending"
            ),
        ]
        constraints = [
            one_of("status", Status.values, name="message_status_known"),
            one_of("channel", Channel.values, name="message_channel_known"),
            one_of("message_class", MessageClass.values, name="message_class_known"),
            models.CheckConstraint(
                condition=Q(status=Status.SENT, sent_at__isnull=False)
                | (~Q(status=Status.SENT) & Q(sent_at__isnull=True)),
                name="message_sent_iff_time",
            ),
            models.CheckConstraint(
                condition=~Q(status=Status.SENDING) | Q(taken_at__isnull=False),
                name="message_sending_was_taken",
            ),
            models.CheckConstraint(condition=~Q(to_address=""), name="message_has_an_address"),
            models.CheckConstraint(
                condition=Q(secret="") | ~Q(status__in=[Status.SENT, Status.SUPPRESSED]),
                name="message_secret_is_forgotten",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject or self.template} → {self.to_name}"


class EnclosedFile(models.Model):
    """The bytes of a file that goes out with messages, kept once however many carry it."""

    sha256 = models.CharField(max_length=64, unique=True)
    content_type = models.CharField(max_length=60)
    content = models.BinaryField(editable=False)

    def __str__(self) -> str:
        return self.sha256[:12]


class Enclosure(models.Model):
    """That a file goes out with a message, and under what name."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="enclosures")
    file = models.ForeignKey(EnclosedFile, on_delete=models.PROTECT, related_name="enclosures")
    name = models.CharField(_("file"), max_length=160)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["message", "file"], name="enclosed_once"),
            models.CheckConstraint(condition=~Q(name=""), name="enclosure_has_a_name"),
        ]

    def __str__(self) -> str:
        return self.name


class MessageEvent(StateEvent):
    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="events")

    @property
    def became_words(self) -> str:
        return str(Status(self.became).label)


class OptOutQuerySet(models.QuerySet["OptOut"]):
    def standing(self) -> Self:
        return self.filter(ended_at__isnull=True)

    def of(self, address: str, channel: str) -> Self:
        return self.filter(channel=channel, address=OptOut.normalise(address))


class OptOut(models.Model):
    """Somebody at this address wants no more reminders. Notices still reach it."""

    address = models.CharField(_("address"), max_length=300)
    channel = models.CharField(_("channel"), max_length=8, choices=Channel)
    at = models.DateTimeField(_("when"), default=timezone.now)
    ended_at = models.DateTimeField(_("wants reminders again since"), null=True, blank=True)

    objects = OptOutQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            one_of("channel", Channel.values, name="opt_out_channel_known"),
            models.CheckConstraint(condition=~Q(address=""), name="opt_out_has_an_address"),
            models.UniqueConstraint(
                fields=["address", "channel"],
                condition=Q(ended_at__isnull=True),
                name="opt_out_standing_once",
            ),
            in_order("at", "ended_at", name="opt_out_times_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.address} ({self.get_channel_display()})"

    @staticmethod
    def normalise(address: str) -> str:
        """The form in which two spellings of one address are equal."""
        return " ".join(address.split()).casefold()
