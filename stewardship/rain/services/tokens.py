"""Ways in for readings: tokens for machines, links for readers. Only digests are kept; each is shown once, when it is made."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Person, User
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import moment_text
from stewardship.rain.choices import GaugeChange, GaugeKind
from stewardship.rain.models import Gauge, GaugeToken, ReaderLink
from stewardship.rain.services.gauges import note_change

TOKEN_PREFIX = "rillgauge_"  # noqa: S105 - tells whose token it is, should one be found somewhere
SECRET_BYTES = 32
#: When a token was last used is written down this often at most: a push a minute should not be a write a minute.
USE_NOTED_EVERY = timedelta(minutes=5)


def _digest(secret: str) -> str:
    # A secret of 256 random bits needs no slow digest.
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


@transaction.atomic
def make_token(*, gauge: Gauge, label: str, by: User | None) -> tuple[GaugeToken, str]:
    """A token with which a machine hands in this gauge's readings, and its text, which nobody can look up later.

    Raises
    ------
    Refused : the gauge is read by hand, stands no more, or has a token for that machine.
    """
    gauge = _standing(gauge)
    label = label.strip()
    if gauge.kind == GaugeKind.DAILY:
        raise Refused(_("%s is read by hand. Give its readers links.") % gauge.code)
    if not label:
        raise Refused(_("Say which machine it is for."))
    old = gauge.tokens.live().filter(label=label).first()
    if old is not None:
        raise Refused(
            _("“%(label)s” has a token since %(moment)s. Withdraw that one first.")
            % {"label": label, "moment": moment_text(old.made_at)}
        )
    secret = TOKEN_PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    token = GaugeToken.objects.create(gauge=gauge, digest=_digest(secret), label=label, made_by=by)
    with book_language():
        note_change(gauge, GaugeChange.DOOR_MADE, _("Token for “%s”") % label, by=by)
    return token, secret


@transaction.atomic
def make_reader_link(*, gauge: Gauge, person: Person, by: User | None) -> tuple[ReaderLink, str]:
    """A link for one reader of the gauge, and the secret in it, which nobody can look up later.

    Raises
    ------
    Refused : no one reads the gauge by hand, the person does not, it stands no more, or they have a link.
    """
    gauge = _standing(gauge)
    if gauge.kind != GaugeKind.DAILY:
        raise Refused(_("%s reports by itself. Give its machine a token.") % gauge.code)
    if not gauge.readers.filter(pk=person.pk).exists():
        raise Refused(
            _("%(person)s does not read %(gauge)s.") % {"person": person, "gauge": gauge.code}
        )
    old = gauge.reader_links.live().filter(person=person).first()
    if old is not None:
        raise Refused(
            _("%(person)s has a link since %(moment)s. Withdraw that one first.")
            % {"person": person, "moment": moment_text(old.made_at)}
        )
    secret = secrets.token_urlsafe(SECRET_BYTES)
    link = ReaderLink.objects.create(gauge=gauge, person=person, digest=_digest(secret), made_by=by)
    with book_language():
        note_change(gauge, GaugeChange.DOOR_MADE, _("Link for %s") % person, by=by)
    return link, secret


@transaction.atomic
def withdraw_token(*, token: GaugeToken, by: User | None) -> bool:
    """From now on it opens nothing; what came with it stays. False: it was withdrawn before."""
    return _withdraw(token, _("Token for “%s”"), token.label, by)


@transaction.atomic
def withdraw_reader_link(*, link: ReaderLink, by: User | None) -> bool:
    """From now on it opens nothing; what was written with it stays. False: it was withdrawn before."""
    return _withdraw(link, _("Link for %s"), str(link.person), by)


def _withdraw(door: GaugeToken | ReaderLink, said: str, whose: str, by: User | None) -> bool:
    live = type(door).objects.live().filter(pk=door.pk)
    if not live.update(revoked_at=timezone.now()):
        return False
    with book_language():
        note_change(door.gauge, GaugeChange.DOOR_SHUT, said % whose, by=by)
    return True


def token_of(secret: str) -> GaugeToken | None:
    """The token that a machine shows, if it still opens anything."""
    if not secret.startswith(TOKEN_PREFIX):
        return None
    return (
        GaugeToken.objects.live()
        .exclude(gauge__kind=GaugeKind.DAILY)
        .select_related("gauge")
        .filter(digest=_digest(secret))
        .first()
    )


def reader_link_of(secret: str) -> ReaderLink | None:
    """The link that a reader opens, withdrawn or not; None: it was never made here."""
    return (
        ReaderLink.objects.select_related("gauge", "person").filter(digest=_digest(secret)).first()
    )


def note_use(door: GaugeToken | ReaderLink, *, at: datetime) -> None:
    """Write down that it was used just now."""
    type(door).objects.filter(pk=door.pk).filter(
        Q(last_used_at=None) | Q(last_used_at__lt=at - USE_NOTED_EVERY)
    ).update(last_used_at=at)


def _standing(gauge: Gauge) -> Gauge:
    gauge = Gauge.objects.select_for_update().get(pk=gauge.pk)
    if gauge.ended_on:
        raise Refused(_("%s stands no more.") % gauge.code)
    return gauge
