"""Who is perhaps in the book already: offered while somebody is written down, asked about once, never decided here."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from people.choices import ContactKind
from people.likeness import Why, name_likeness
from people.models import ContactPoint, Household, Person
from stewardship.common.addresses import AddressWhy, address_likeness, read_address

#: How many entries are offered at most.
OFFERED = 5
#: Digits at the end of a phone number that tell it from others where one is written with a country code
#: (ITU-T E.164; the North American plan has 10).
PHONE_TELLS = 10

NAME_WORDS = {
    Why.SAME: _("the same name"),
    Why.ORDER: _("the same name the other way round"),
    Why.NICKNAME: _("goes by another name"),
    Why.SHORTER: _("a shorter or longer form of the name"),
    Why.PART: _("one of the family names is the same"),
    Why.SPELLING: _("spelled nearly the same"),
    Why.ONE_NAME: _("one of the names is the same"),
}
#: An address alone says only that they may live together.
CONTACT_WORDS = {
    ContactKind.EMAIL: _("the same e-mail address, perhaps one household"),
    ContactKind.PHONE: _("the same phone number, perhaps one household"),
    ContactKind.POSTAL: _("the same postal address, perhaps one household"),
}
ADDRESS_WORDS = {
    AddressWhy.SAME: _("the same address"),
    AddressWhy.HOUSE: _("the same number, another unit or part of it"),
    AddressWhy.OTHERWISE: _("the same number, the street written otherwise"),
    AddressWhy.STREET: _("the same street, one of them without a number"),
}


@dataclass(frozen=True)
class AlikePerson:
    """Somebody in the book who may be meant: why by name (None: not by name), and by which kinds of address."""

    person: Person
    name: Why | None
    contacts: tuple[str, ...]

    @property
    def words(self) -> list[str | Promise]:
        """Why, in words, the surest first."""
        return [
            *([NAME_WORDS[self.name]] if self.name else []),
            *(CONTACT_WORDS[ContactKind(kind)] for kind in self.contacts),
        ]


@dataclass(frozen=True)
class AlikeHousehold:
    household: Household
    why: AddressWhy

    @property
    def words(self) -> list[str | Promise]:
        return [ADDRESS_WORDS[self.why]]


def kind_of_address(text: str) -> str:
    """What kind of address somebody typed, by its looks."""
    if "@" in text:
        return ContactKind.EMAIL
    if text and not any(ch.isalpha() for ch in text):
        return ContactKind.PHONE
    return ContactKind.POSTAL


def people_alike(
    *,
    given_name: str = "",
    family_name: str = "",
    contacts: Iterable[tuple[str, str]] = (),
    but: Person | None = None,
) -> list[AlikePerson]:
    """People who may be meant by a name and addresses [(kind, value)], the likeliest first, at most `OFFERED`.

    Everybody's name is looked at, in memory: some 10 microseconds each.
    """
    known = Person.objects.known()
    if but is not None:
        known = known.exclude(pk=but.pk)
    names: dict[int, Why] = {}
    if given_name.strip() or family_name.strip():
        for pk, given, family in known.order_by().values_list("pk", "given_name", "family_name"):
            why = name_likeness((given_name, family_name), (given, family))
            if why:
                names[pk] = why
    places = _who_shares(list(contacts))
    people = known.filter(pk__in=names.keys() | places.keys()).select_related("household")
    order = [*Why, None]
    found = [
        AlikePerson(person, names.get(person.pk), tuple(sorted(places.get(person.pk, ()))))
        for person in people
    ]
    # a name and an address together are surer than either
    found.sort(key=lambda one: (not (one.name and one.contacts), order.index(one.name)))
    return found[:OFFERED]


def _who_shares(contacts: list[tuple[str, str]]) -> dict[int, set[str]]:
    """Person → the kinds of address that they share with those given."""
    same = Q()
    for kind, value in contacts:
        normal = ContactPoint.normalise(kind, value)
        if kind == ContactKind.PHONE:
            digits = "".join(ch for ch in normal if ch.isdigit())
            if len(digits) >= PHONE_TELLS:
                same |= Q(kind=kind, normal__endswith=digits[-PHONE_TELLS:])
                continue
        if normal:
            same |= Q(kind=kind, normal=normal)
    homes = [value for kind, value in contacts if kind == ContactKind.POSTAL and value.strip()]
    if homes:
        points = ContactPoint.objects.filter(kind=ContactKind.POSTAL).values_list("pk", "value")
        wanted = [
            pk
            for pk, text in points
            if any(address_likeness(home, text) == AddressWhy.SAME for home in homes)
        ]
        same |= Q(pk__in=wanted)
    shared: dict[int, set[str]] = {}
    if same:
        rows = ContactPoint.objects.filter(same).values_list("people", "kind")
        for pk, kind in rows:
            if pk is not None:
                shared.setdefault(pk, set()).add(kind)
    return shared


def households_alike(*, address: str, but: Household | None = None) -> list[AlikeHousehold]:
    """Households that may live at that address, the likeliest first, at most `OFFERED`."""
    if not read_address(address).street and not read_address(address).box:
        return []
    known = Household.objects.known()
    if but is not None:
        known = known.exclude(pk=but.pk)
    found = [
        AlikeHousehold(household, why)
        for household in known
        if (why := address_likeness(address, household.address))
    ]
    found.sort(key=lambda one: list(AddressWhy).index(one.why))
    return found[:OFFERED]
