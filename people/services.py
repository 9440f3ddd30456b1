"""What is written about people and where they can be reached."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils.translation import gettext as _

from people.choices import Channel, ContactKind
from people.models import ContactPoint, Household, Person, PersonExternalId, User
from stewardship.common.errors import Refused

#: Which kind of address a channel needs.
NEEDS = {
    Channel.EMAIL: ContactKind.EMAIL,
    Channel.TEXT: ContactKind.PHONE,
    Channel.LETTER: ContactKind.POSTAL,
}
#: Fewest and most digits of a phone number (ITU-T E.164 allows 15; local numbers without area code have 7).
PHONE_DIGITS = (7, 15)

#: Facts of a person that `add_person` and `update_person` take.
FACTS = frozenset(
    {
        "given_name",
        "family_name",
        "household",
        "agency",
        "agency_office",
        "language",
        "channel",
        "note",
    }
)


def check_contact(kind: str, value: str) -> str:
    """The address, tidied.

    Raises
    ------
    Refused : it is no e-mail address, no phone number or nothing.
    """
    if kind == ContactKind.POSTAL:
        value = "\n".join(line.strip() for line in value.splitlines() if line.strip())
        if not value:
            raise Refused(_("A postal address has at least a street or box."))
        return value
    value = " ".join(value.split())
    if kind == ContactKind.EMAIL:
        try:
            validate_email(value)
        except ValidationError:
            raise Refused(
                _("“%s” is not an e-mail address, e.g. ines@example.org.") % value
            ) from None
        return value
    digits = sum(ch.isdigit() for ch in value)
    if not PHONE_DIGITS[0] <= digits <= PHONE_DIGITS[1] or any(ch.isalpha() for ch in value):
        raise Refused(_("“%s” is not a phone number, e.g. 505-555-0111.") % value)
    return value


def _refuse_unreachable(channel: str, kinds: set[str]) -> None:
    needed = NEEDS.get(Channel(channel))
    if needed and needed not in kinds:
        raise Refused(unreachable_words(channel))


def unreachable_words(channel: str) -> str:
    """One sentence: the chosen channel has no address."""
    return {
        Channel.EMAIL: _(
            "They want to hear by e-mail: give an e-mail address, or choose another way."
        ),
        Channel.TEXT: _(
            "They want to hear by text message: give a phone number, or choose another way."
        ),
        Channel.LETTER: _(
            "They want to hear by letter: give a postal address, or choose another way."
        ),
    }[Channel(channel)]


@transaction.atomic
def add_person(*, contacts: Iterable[tuple[str, str]] = (), **facts: Any) -> Person:
    """Somebody new. `contacts` are (kind, value); `facts` are of `FACTS`; one name is enough.

    Raises
    ------
    Refused : no name, an address that is none, or no address for the chosen channel.
    """
    contacts = [(kind, check_contact(kind, value)) for kind, value in contacts]
    person = Person(**_checked(facts))
    _refuse_unreachable(person.channel, {kind for kind, _value in contacts})
    person.save()
    for kind, value in contacts:
        _link(person, kind, value)
    return person


@transaction.atomic
def update_person(
    *, person: Person, contacts: Iterable[tuple[str, str]] | None = None, **facts: Any
) -> Person:
    """Correct facts of a person. With `contacts`, exactly these reach them from now on, besides addresses known as dead.

    Raises
    ------
    Refused : as `add_person`.
    """
    person = Person.objects.select_for_update().get(pk=person.pk)
    for name, value in _checked(facts, new=False).items():
        setattr(person, name, value)
    if contacts is not None:
        wanted = {}
        for kind, value in contacts:
            value = check_contact(kind, value)
            wanted[kind, ContactPoint.normalise(kind, value)] = value
        for point in person.contact_points.filter(dead_since__isnull=True):
            if (point.kind, point.normal) in wanted:
                wanted.pop((point.kind, point.normal))
            else:
                point.people.remove(person)
        for (kind, _normal), value in wanted.items():
            _link(person, kind, value)
    living = person.contact_points.filter(dead_since__isnull=True)
    _refuse_unreachable(person.channel, set(living.values_list("kind", flat=True)))
    person.save()
    return person


def _checked(facts: dict[str, Any], *, new: bool = True) -> dict[str, Any]:
    unknown = set(facts) - FACTS
    if unknown:
        raise TypeError(f"not facts of a person: {', '.join(sorted(unknown))}")
    for name in {"given_name", "family_name"} & set(facts):
        facts[name] = " ".join(facts[name].split())
    if not facts.get("given_name") and (new or "given_name" in facts):
        raise Refused(_("One name is enough, but one is needed."))
    return facts


def _link(person: Person, kind: str, value: str) -> ContactPoint:
    """Give the person this address; one that was known as dead is alive again, because somebody has just given it."""
    point, _made = ContactPoint.objects.get_or_create(
        kind=kind, normal=ContactPoint.normalise(kind, value), defaults={"value": value}
    )
    if point.dead_since:
        point.dead_since, point.dead_why = None, ""
        point.save(update_fields=["dead_since", "dead_why", "normal"])
    point.people.add(person)
    return point


def household_at(*, name: str, address: str) -> Household:
    """The household of that name at that address, written down at first need; of a second entry, the one that it is."""
    found, _made = Household.objects.select_related("merged_into").get_or_create(
        name=name, address=address
    )
    return found.merged_into or found


def update_household(*, household: Household, **facts: Any) -> Household:
    """Put right a household's name, address, or whether one letter goes to all of them.

    Raises
    ------
    Refused : another household bears that name at that address.
    """
    with transaction.atomic():
        household = Household.objects.select_for_update().get(pk=household.pk)
        for name, value in facts.items():
            setattr(household, name, value)
        same = Household.objects.filter(name=household.name, address=household.address)
        if same.exclude(pk=household.pk).exists():
            raise Refused(
                _("There is a household %s already; say that the two are one.") % household
            )
        household.save()
    return household


def add_external_id(*, person: Person, kept_by: str, value: str) -> PersonExternalId:
    """What somebody else's list calls this person. The same again is there already.

    Raises
    ------
    Refused : a part is missing, or that list means another person by it.
    """
    kept_by, value = (" ".join(text.split()) for text in (kept_by, value))
    if not kept_by or not value:
        raise Refused(_("The list and the name there go together."))
    row, _new = PersonExternalId.objects.get_or_create(
        kept_by=kept_by, value=value, defaults={"person": person}
    )
    if row.person_id != person.pk:
        raise Refused(
            _("In that list “%(value)s” is %(person)s.") % {"value": value, "person": row.person}
        )
    return row


def mark_dead(*, contact: ContactPoint, on: date, why: str) -> ContactPoint:
    """The address reaches nobody any more."""
    contact.dead_since, contact.dead_why = on, why[:200]
    contact.save(update_fields=["dead_since", "dead_why", "normal"])
    return contact


def reachable_at(person: Person, channel: str | None = None) -> ContactPoint | None:
    """Where the person is reached on a channel (default: their own); None for no address, or no reminders wanted.

    Reads `person.contact_points`: prefetch it for many.
    """
    needed = NEEDS.get(Channel(channel or person.channel))
    alive = (p for p in person.contact_points.all() if p.kind == needed and not p.dead_since)
    return min(alive, key=lambda point: point.pk, default=None)


@transaction.atomic
def person_of_user(user: User) -> Person:
    """The person behind a log-in, written down at first need."""
    user = User.objects.select_for_update().get(pk=user.pk)
    if user.person is None:
        given, _space, family = (user.name or user.email.partition("@")[0]).partition(" ")
        user.person = add_person(
            given_name=given,
            family_name=family,
            channel=Channel.EMAIL,
            contacts=[(ContactKind.EMAIL, user.email)],
        )
        user.save(update_fields=["person"])
    return user.person
