"""At which address a person can be told something."""

from collections.abc import Collection
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from people.choices import Channel, ContactKind
from people.models import ContactPoint, Person
from people.services import reachable_at

#: Tried after the channel that somebody asked for. Texts go only to those who asked for texts.
FALLBACKS = (Channel.EMAIL, Channel.LETTER)


@dataclass(frozen=True)
class Address:
    """Where a message goes. Two spellings of one address have the same `normal`."""

    channel: str
    value: str
    normal: str


def wants_none(person: Person) -> bool:
    """Asked for no reminders. The duty stays; formal notices still go out."""
    return person.channel == Channel.NONE


def address_of(person: Person, *, but: Collection[str] = ()) -> Address | None:
    """The person's own channel, else e-mail, else a letter; None when nothing reaches them. Channels in `but` do not do.

    Reads `person.contact_points` and `person.household`: prefetch them for lists.
    """
    tried = (one for one in dict.fromkeys((person.channel, *FALLBACKS)) if one not in but)
    return next((found for channel in tried if (found := _on(person, channel))), None)


def _on(person: Person, channel: str) -> Address | None:
    point = reachable_at(person, channel)
    if point and (channel != Channel.EMAIL or _is_email(point.value)):
        return Address(channel, point.value, point.normal)
    if channel == Channel.LETTER and person.household_id and _lives_there(person):
        value = person.household.address
        return Address(channel, value, ContactPoint.normalise(ContactKind.POSTAL, value))
    return None


def _lives_there(person: Person) -> bool:
    """The household's address counts, unless a postal address of their own was found dead."""
    return all(p.kind != ContactKind.POSTAL for p in person.contact_points.all())


def _is_email(value: str) -> bool:
    try:
        validate_email(value)
    except ValidationError:
        return False
    return True
