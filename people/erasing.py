"""Erase what is personal, keep what is proof: one service for a coordinator, and what people's own room holds.

What has to be kept and for how long differs by place and by who keeps the book; the page says so (common practice, no source).
"""

from dataclasses import dataclass
from datetime import date

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db import transaction
from django.db.models import Q, QuerySet
from django.db.models.functions import Greatest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.choices import AskedBy, Channel, MergeKind, Silence
from people.erasure import Share, Subject, shares, wiping
from people.models import (
    Agent,
    ContactPoint,
    Household,
    Membership,
    Merge,
    OrganisationContact,
    Person,
    PersonEvent,
    PersonExternalId,
    Program,
    User,
    Volunteer,
)
from stewardship.common.errors import Refused
from stewardship.common.events import in_book_language
from stewardship.common.written import day_text
from stewardship.outbox import erasing as outbox
from stewardship.outbox.models import Message

#: Log-ins of erased people get an address in a domain that never reaches anybody (RFC 2606 §2).
NOWHERE = "erased.invalid"
_ERASED = gettext_lazy("Personal data erased")


@dataclass
class Preview:
    """What erasing would do: what has to end first, what is wiped, what is kept and why, and what to look at besides."""

    stops: list[str]
    wiped: list[tuple[str, int]]
    kept: list[tuple[str, str, int]]
    household_stays: Household | None
    public_body: bool


def preview(*, person: Person) -> Preview:
    """What `erase` would do, without doing it."""
    subject, on = Subject.of(person), Program.get().today()
    found = [_own_share(subject, on=on), *shares(subject, on=on)]
    household = person.household
    others = household and household.people.exclude(pk__in=subject.keys).exists()
    return Preview(
        stops=[stop for share in found for stop in share.stops],
        wiped=[row for share in found for row in share.wiped],
        kept=[row for share in found for row in share.kept],
        household_stays=household if others else None,
        public_body=of_public_body(subject),
    )


def of_public_body(subject: Subject) -> bool:
    """Whether they work for an agency, whose records the law may keep."""
    officers = Person.objects.filter(pk__in=subject.keys, agency__isnull=False)
    return (
        officers.exists()
        or Membership.objects.filter(user__in=subject.users, agency__isnull=False).exists()
    )


@transaction.atomic
def erase(
    *,
    person: Person,
    asked_by: str,
    asked_on: date,
    by: User | None,
    law_allows: bool = False,
) -> Person:
    """Wipe who the person is, everywhere; what they signed and what was done stays, under a pseudonym. Twice is once.

    `law_allows`: for somebody of an agency, that its records law was looked at.

    Raises
    ------
    Refused : something has to end first, the day is yet to come, or an agency's records law was not looked at.
    """
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.erased_on:
        return person
    on = Program.get().today()
    if person.merged_into_id:
        raise Refused(_("This is a second entry of %s; erase that one.") % person.merged_into)
    if asked_on > on:
        raise Refused(_("That day is yet to come."))
    subject = Subject.of(person)
    list(Person.objects.select_for_update().filter(pk__in=subject.keys).order_by("pk"))
    stops = preview(person=person).stops
    if stops:
        raise Refused(" ".join(stops))
    if of_public_body(subject) and not law_allows:
        raise Refused(
            _(
                "They work for an agency. Records law may forbid erasing; say that it was looked at and allows it."
            )
        )
    _wipe_messages(subject, by=by)
    wiping.send(Person, subject=subject, on=on, by=by)
    _wipe_own(subject, on=on)
    was = person.silent_why
    person.refresh_from_db()
    why = in_book_language(
        gettext_lazy("Personal data erased; asked for by %(who)s on %(day)s"),
        {"who": AskedBy(asked_by).label, "day": day_text(asked_on)},
    )
    PersonEvent.objects.create(person=person, was=was, became=person.silent_why, why=why, by=by)
    return person


def messages_to(subject: Subject) -> QuerySet[Message]:
    """Messages to them: at an address that is theirs alone, or by name at one that they share."""
    mine = Q(pk__in=[])
    for address in subject.own_addresses:
        mine |= Q(to_address__iexact=address)
    for address in subject.addresses:
        mine |= Q(to_address__iexact=address, to_name__in=subject.names)
    return Message.objects.filter(mine)


def _wipe_messages(subject: Subject, *, by: User | None) -> None:
    outbox.wipe_messages(
        messages=messages_to(subject),
        pseudonym=subject.pseudonym,
        why=in_book_language(_ERASED),
        by=by,
    )
    others = Message.objects.exclude(pk__in=outbox.proofs(Message.objects.all()).values("pk"))
    subject.scrub_rows(others, "to_name", "subject", "text", "html", "context", "error")
    outbox.forget_opt_outs(list(subject.own_addresses))


def _own_share(subject: Subject, *, on: date) -> Share:
    """What stands in this room and in the outbox."""
    share = Share()
    person = subject.person
    if person.erased_on:
        share.stops.append(_("Their data are erased already."))
        return share
    coordinators = Membership.objects.coordinators()
    mine = coordinators.filter(user__in=subject.users)
    if mine.exists() and not coordinators.exclude(user__in=subject.users).exists():
        share.stops.append(_("Nobody else coordinates the program: give somebody that part first."))
    share.wipe(_("name"), 1)
    points = ContactPoint.objects.filter(people__in=subject.keys).distinct()
    share.wipe(_("addresses, shared ones only as theirs"), points.count())
    share.wipe(_("note"), Person.objects.filter(pk__in=subject.keys).exclude(note="").count())
    share.wipe(_("log-in"), len(subject.users))
    share.wipe(_("household, where nobody else is left in it"), _empty_households(subject).count())
    external = PersonExternalId.objects.filter(person__in=subject.keys)
    share.wipe(_("identifiers in other lists"), external.count())
    messages = messages_to(subject)
    proofs = outbox.proofs(messages).count()
    share.wipe(
        _("messages: recipient and words; those that wait do not leave"), messages.count() - proofs
    )
    share.keep(
        _("formal notices that were sent"),
        _(
            "Proof of what was told when, word for word with the address used, as long as a claim can rest on it."
        ),
        proofs,
    )
    share.keep(
        _("what their log-in did in the book"),
        _("Who entered and decided what, and when: it stands under the pseudonym."),
        len(subject.users),
    )
    return share


def _empty_households(subject: Subject) -> QuerySet[Household]:
    mine = Household.objects.filter(people__in=subject.keys)
    others = Household.objects.filter(people__in=Person.objects.exclude(pk__in=subject.keys))
    return mine.exclude(pk__in=others.values("pk")).distinct()


def _wipe_own(subject: Subject, *, on: date) -> None:
    """Name, addresses, note, ties, household, log-in, and names in merges and logs."""
    keys = subject.keys
    for point in ContactPoint.objects.filter(people__in=keys).distinct():
        point.people.remove(*keys)
        if not point.people.exists():
            point.delete()
    homes = list(_empty_households(subject).values_list("pk", flat=True))
    Person.objects.filter(pk__in=keys).update(
        given_name=subject.pseudonym,
        family_name="",
        household=None,
        agency_office="",
        channel=Channel.NONE,
        note="",
        erased_on=on,
    )
    Person.objects.filter(pk__in=keys, silent_since=None).update(
        silent_since=on, silent_why=Silence.ASKED
    )
    _drop_households(homes)
    PersonExternalId.objects.filter(person__in=keys).delete()
    _end_ties(subject, on=on)
    _close_log_ins(subject)
    mine = Q(kept__in=keys) | Q(gone__in=keys)
    theirs = mine & Q(kind=MergeKind.PERSON)
    subject.scrub_rows(Merge.objects.all(), "words", about_them=theirs)
    for merge in Merge.objects.filter(theirs):
        for item in merge.moved:  # what was filled in was personal; which entry went is not
            facts = item.get("facts", {})
            item |= (
                {"facts": {n: v for n, v in facts.items() if n == "merged_into_id"}}
                if facts
                else {}
            )
        merge.save(update_fields=["moved"])
    subject.scrub_rows(PersonEvent.objects.all(), "why")
    PersonEvent.objects.filter(person__in=keys).update(why="")
    _scrub_repairs(subject)


def _drop_households(homes: list[int]) -> None:
    """Households in which nobody is left, with their second entries; what put them together can no longer be taken back."""
    seconds = list(
        Household.objects.filter(merged_into__in=homes, people=None).values_list("pk", flat=True)
    )
    gone = [*homes, *seconds]
    Merge.objects.filter(Q(kept__in=gone) | Q(gone__in=gone), kind=MergeKind.HOUSEHOLD).delete()
    Household.objects.filter(pk__in=seconds).delete()
    Household.objects.filter(pk__in=homes, people=None, merged_from=None).delete()


def _end_ties(subject: Subject, *, on: date) -> None:
    keys = subject.keys
    for model, mine in (
        (Agent, Q(principal__in=keys) | Q(agent__in=keys)),
        (OrganisationContact, Q(person__in=keys)),
    ):
        rows = model.objects.filter(mine)
        rows.filter(Q(ends_on=None) | Q(ends_on__gt=on)).update(ends_on=Greatest("starts_on", on))
    rights = Agent.objects.filter(Q(principal__in=keys) | Q(agent__in=keys))
    rights.exclude(authority="").update(authority=in_book_language(_ERASED))
    helpers = Volunteer.objects.filter(person__in=keys)
    helpers.update(near="")
    helpers.filter(left_on=None).update(left_on=Greatest("joined_on", on))


def _close_log_ins(subject: Subject) -> None:
    for number, user in enumerate(subject.users):
        Membership.objects.filter(user=user).delete()
        EmailAddress.objects.filter(user=user).delete()
        Authenticator.objects.filter(user=user).delete()
        stem = subject.pseudonym.replace(" ", "-").lower()
        user.email = f"{stem}{f'-{number}' if number else ''}@{NOWHERE}"
        user.name, user.is_active = subject.pseudonym, False
        user.is_staff = user.is_superuser = False
        user.set_unusable_password()
        user.save()


def _scrub_repairs(subject: Subject) -> None:
    """The repair pages keep a log with the names of what was repaired."""
    kinds = ContentType.objects.get_for_models(Person, User, Household, ContactPoint).values()
    log = LogEntry.objects.filter(content_type__in=kinds)
    subject.scrub_rows(log, "object_repr", "change_message")
