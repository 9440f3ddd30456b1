"""How each room says what it holds of a person and wipes its own part: people never looks upward, the rooms above listen."""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db import models
from django.db.models.functions import Cast
from django.dispatch import Signal

from people.models import ContactPoint, Person, User


@dataclass(frozen=True)
class Subject:
    """Whose data: the person with every second entry of theirs, how they were called and reached, and what stands instead."""

    person: Person
    keys: tuple[int, ...]
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    own_addresses: tuple[str, ...]
    users: tuple[User, ...]
    pseudonym: str

    @classmethod
    def of(cls, person: Person) -> "Subject":
        people = [person]
        while True:  # second entries of second entries too
            more = Person.objects.filter(merged_into__in=people).exclude(
                pk__in=[one.pk for one in people]
            )
            if not more:
                break
            people += more
        users = tuple(User.objects.filter(person__in=people))
        points = ContactPoint.objects.filter(people__in=people).distinct()
        others = Person.objects.exclude(pk__in=[one.pk for one in people])
        shared = set(
            ContactPoint.objects.filter(pk__in=points.values("pk"), people__in=others).values_list(
                "pk", flat=True
            )
        )
        names = [one.full_name for one in people] + [user.name for user in users if user.name]
        mails = [user.email for user in users]
        return cls(
            person=person,
            keys=tuple(one.pk for one in people),
            names=tuple(dict.fromkeys(names)),
            addresses=tuple(dict.fromkeys([*(point.value for point in points), *mails])),
            own_addresses=tuple(
                dict.fromkeys(
                    [*(point.value for point in points if point.pk not in shared), *mails]
                )
            ),
            users=users,
            pseudonym=f"Person {person.pk:04d}",
        )

    def scrub(self, text: str, *, one_word: bool = False) -> str:
        """The text with the pseudonym in the place of their names, and without their own addresses.

        A name of one word may be anything (“May”): it is replaced only where the text is known to be about them.
        """
        for name in sorted(self.names, key=len, reverse=True):
            if one_word or " " in name:
                text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", self.pseudonym, text)
        for address in self.own_addresses:
            text = re.sub(rf"(?<!\w){re.escape(address)}(?!\w)", "…", text, flags=re.IGNORECASE)
        return text

    def scrub_rows(
        self, rows: models.QuerySet, *names: str, about_them: models.Q | None = None
    ) -> None:
        """Scrub these text or JSON fields wherever their names or own addresses stand; one-word names only in rows `about_them`."""
        self._scrub_found(rows, names, one_word=False)
        if about_them is not None and any(" " not in name for name in self.names):
            model = rows.model
            near = model._base_manager.filter(about_them).values("pk")
            self._scrub_found(rows.filter(pk__in=near), names, one_word=True)

    def _scrub_found(self, rows: models.QuerySet, names: Iterable[str], *, one_word: bool) -> None:
        words = [name for name in self.names if one_word or " " in name] + [*self.own_addresses]
        # text as it stands, and as JSON writes it down
        words += [json.dumps(word)[1:-1] for word in words if not word.isascii() or "\n" in word]
        if not words:
            return
        found = models.Q()
        for name in names:
            rows = rows.annotate(**{f"{name}_text": Cast(name, models.TextField())})
            for word in words:
                found |= models.Q(**{f"{name}_text__icontains": word})
        for row in rows.filter(found):
            told = {
                name: scrub_plain(getattr(row, name), self, one_word=one_word) for name in names
            }
            rows.model._base_manager.filter(pk=row.pk).update(**told)


def scrub_plain(value: Any, subject: Subject, *, one_word: bool) -> Any:
    """The scrubbed text, or whatever a JSON field holds with every text in it scrubbed."""
    if isinstance(value, str):
        return subject.scrub(value, one_word=one_word)
    if isinstance(value, list):
        return [scrub_plain(one, subject, one_word=one_word) for one in value]
    if isinstance(value, dict):
        return {k: scrub_plain(one, subject, one_word=one_word) for k, one in value.items()}
    return value


def unquote(rows: models.QuerySet, name: str, phrases: Iterable[str]) -> None:
    """Where a log quotes what somebody wrote, an ellipsis stands instead."""
    for phrase in sorted({phrase for phrase in phrases if phrase}, key=len, reverse=True):
        for row in rows.filter(**{f"{name}__contains": phrase}):
            told = {name: getattr(row, name).replace(phrase, "…")}
            type(row)._base_manager.filter(pk=row.pk).update(**told)


@dataclass
class Share:
    """What one room holds: what has to end first, what is wiped (words, how many), what is kept (words, why, how many)."""

    stops: list[str] = field(default_factory=list)
    wiped: list[tuple[str, int]] = field(default_factory=list)
    kept: list[tuple[str, str, int]] = field(default_factory=list)

    def wipe(self, words: str, number: int) -> None:
        if number:
            self.wiped.append((words, number))

    def keep(self, words: str, why: str, number: int) -> None:
        if number:
            self.kept.append((words, why, number))


#: Sent with `subject` and `on`: each room returns its `Share` and changes nothing.
asked_for = Signal()
#: Sent with `subject`, `on` and `by` inside the transaction: each room wipes its own part.
wiping = Signal()


def shares(subject: Subject, *, on: date) -> Iterable[Share]:
    return [share for _receiver, share in asked_for.send(Person, subject=subject, on=on)]
