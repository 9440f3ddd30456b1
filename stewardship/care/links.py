"""Signed links that let one person answer about one duty, without a log-in."""

from dataclasses import dataclass

from django.core import signing
from django.urls import reverse

from stewardship.care.models import Duty

SALT = "stewardship.care.answer"
#: Longer than any duty waits for its hand-on steps, short enough that a letter in an old drawer opens nothing. Our default.
GOOD_FOR_DAYS = 45


@dataclass(frozen=True)
class Link:
    """Whose link it is, and what about; `agent_pk` is whoever answers for them."""

    duty_pk: int
    person_pk: int
    agent_pk: int | None = None


class BadLink(Exception):
    """This link was not made here, or is not whole."""


class OldLink(Exception):
    """This link was made here, too long ago. `link` says for whom."""

    def __init__(self, link: Link) -> None:
        super().__init__()
        self.link = link


def token_for(*, duty_pk: int, person_pk: int, agent_pk: int | None = None) -> str:
    named = [duty_pk, person_pk] if agent_pk is None else [duty_pk, person_pk, agent_pk]
    return signing.dumps(named, salt=SALT)


def path_for(*, duty: Duty, person_pk: int, agent_pk: int | None = None) -> str:
    token = token_for(duty_pk=duty.pk, person_pk=person_pk, agent_pk=agent_pk)
    return reverse("care:answer", args=[token])


def read(token: str) -> Link:
    """The link in a token.

    Raises
    ------
    OldLink, BadLink
    """
    try:
        return Link(*signing.loads(token, salt=SALT, max_age=GOOD_FOR_DAYS * 86_400))
    except signing.SignatureExpired:
        raise OldLink(Link(*signing.loads(token, salt=SALT))) from None
    except (signing.BadSignature, ValueError, TypeError):
        raise BadLink from None
