"""Two entries that are one: put together so that it can be taken back, row by row.

Nothing is deleted. Every row that points to the entry that goes points to the one that stays afterwards, and `Merge.moved` says
exactly which; what cannot move stays with the one that goes and is named. Each keeps its own history of states.
"""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.apps import apps
from django.db import IntegrityError, models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.choices import MergeKind
from people.models import Merge, Person, User
from stewardship.common.errors import Refused
from stewardship.common.events import StateEvent

Entry = Any  # a model with `merged_into`: Person, Household, Site
KINDS = {"people.person": MergeKind.PERSON, "people.household": MergeKind.HOUSEHOLD}
#: Facts of a person that the one that goes gives to the one that stays where that one has none; those of a pair together.
PERSON_FILLS = (("family_name",), ("household",), ("agency", "agency_office"))


@dataclass
class Outcome:
    """What became of a merge; `stayed`: (model, row) that a constraint kept with the entry that went."""

    merge: Merge
    stayed: list[tuple[type[models.Model], models.Model]] = field(default_factory=list)


def merge(*, kept: Entry, gone: Entry, by: User | None) -> Outcome:
    """Two people, or two households, are one. `gone` is hidden from lists and choices and points to `kept`.

    Both being volunteers is no reason to refuse: the second volunteer row stays with the entry that goes.

    Raises
    ------
    Refused : an entry is part of a merge already or erased, or both people can sign in.
    """
    with transaction.atomic():
        kept, gone = locked(kept, gone)
        facts: dict[str, Any] = {}
        if isinstance(kept, Person):
            _refuse_people(kept, gone)
            facts = _filled_in(kept, gone)
        return put_together(
            kind=KINDS[kept._meta.label_lower], kept=kept, gone=gone, facts=facts, by=by
        )


def locked(kept: Entry, gone: Entry) -> tuple[Entry, Entry]:
    """Both rows, locked in the order of their keys.

    Raises
    ------
    Refused : it is one row, or one of them is another's second entry already.
    """
    if kept.pk == gone.pk:
        raise Refused(_("That is the same entry; choose another."))
    rows = type(kept).objects.select_for_update(of=("self",)).order_by("pk")
    found = {row.pk: row for row in rows.filter(pk__in=[kept.pk, gone.pk])}
    for row in found.values():
        if row.merged_into_id:
            raise Refused(
                _("%(one)s is a second entry of %(other)s already.")
                % {"one": row, "other": row.merged_into}
            )
    return found[kept.pk], found[gone.pk]


def put_together(
    *,
    kind: str,
    kept: Entry,
    gone: Entry,
    facts: dict[str, Any],
    gone_facts: dict[str, Any] | None = None,
    by: User | None,
) -> Outcome:
    """Move every row, fill `facts` in at `kept`, mark `gone` with `gone_facts`. Both are locked by the caller."""
    journal: list[dict[str, Any]] = []
    stayed: list[tuple[type[models.Model], models.Model]] = []
    for model, name in pointing_at(type(gone)):
        moved, left = _move(model, name, gone, kept)
        stayed += [(model, row) for row in left]
        if moved:
            journal.append({"model": model._meta.label_lower, "field": name, "pks": moved})
    for row, changes in (
        (kept, facts),
        (gone, (gone_facts or {}) | {"merged_into_id": kept.pk}),
    ):
        if changes:
            journal.append(_write_facts(row, changes))
    done = Merge.objects.create(
        kind=kind,
        kept=kept.pk,
        gone=gone.pk,
        words=_("%(gone)s is %(kept)s") % {"gone": str(gone)[:190], "kept": str(kept)[:190]},
        moved=journal,
        by=by,
    )
    return Outcome(done, stayed)


def undo_merge(*, merge: Merge, by: User | None) -> Merge:
    """Take a merge back: the same rows point to the same entries as before. What came to the kept one since, stays there.

    Raises
    ------
    Refused : it was taken back already, a later merge or an erasure stands on it, or a row has no place there any more.
    """
    with transaction.atomic():
        merge = Merge.objects.select_for_update(of=("self",)).get(pk=merge.pk)
        if merge.undone_at:
            raise Refused(_("That was taken back already."))
        model = entry_model(merge)
        rows = {
            row.pk: row
            for row in model.objects.select_for_update(of=("self",))
            .order_by("pk")
            .filter(pk__in=[merge.kept, merge.gone])
        }
        kept, gone = rows[merge.kept], rows[merge.gone]
        if kept.merged_into_id:
            raise Refused(
                _("%(one)s was found to be %(other)s later; take that back first.")
                % {"one": kept, "other": kept.merged_into}
            )
        if getattr(kept, "erased_on", None) or getattr(gone, "erased_on", None):
            raise Refused(_("Their data were erased since; the two cannot be told apart any more."))
        try:
            with transaction.atomic():
                for item in reversed(merge.moved):
                    _take_back(item, kept, gone)
        except IntegrityError:
            raise Refused(
                _("Something was written down since that stands in its place at both entries.")
            ) from None
        merge.undone_at, merge.undone_by = timezone.now(), by
        merge.save(update_fields=["undone_at", "undone_by"])
    return merge


def entry_model(merge: Merge) -> type[models.Model]:
    """The model whose entries were put together: the journal names it last, with the one that went."""
    return apps.get_model(merge.moved[-1]["model"])


def merges_of(entry: Entry) -> models.QuerySet[Merge]:
    """Standing merges by which other entries became this one, newest first."""
    return Merge.objects.filter(
        kind=KINDS.get(entry._meta.label_lower, MergeKind.SITE), kept=entry.pk, undone_at=None
    ).select_related("by")


def pointing_at(model: type[models.Model]) -> list[tuple[type[models.Model], str]]:
    """(model, field) of every foreign key to this model, those of many-to-many rows too; not an entry's own history."""
    return [
        (relation.related_model, relation.field.name)
        for relation in model._meta.get_fields(include_hidden=True)
        if relation.auto_created
        and not relation.concrete
        and (relation.one_to_many or relation.one_to_one)
        and not issubclass(relation.related_model, StateEvent)
    ]


def _move(
    model: type[models.Model], name: str, gone: Entry, kept: Entry
) -> tuple[list[int], list[models.Model]]:
    """Keys of the rows that point to `kept` now, and the rows that a constraint left with `gone`."""
    rows = list(model._base_manager.filter(**{name: gone}).order_by("pk"))
    keys = [row.pk for row in rows]
    if not rows:
        return [], []
    try:
        with transaction.atomic():
            model._base_manager.filter(pk__in=keys).update(**{name: kept})
        return keys, []
    except IntegrityError:
        pass  # one of them has no place there; each is tried by itself
    moved, left = [], []
    for row in rows:
        try:
            with transaction.atomic():
                model._base_manager.filter(pk=row.pk).update(**{name: kept})
        except IntegrityError:
            left.append(row)
        else:
            moved.append(row.pk)
    return moved, left


def _write_facts(row: Entry, changes: dict[str, Any]) -> dict[str, Any]:
    """Write facts to an entry; what the journal keeps of it: {"facts": {name: [before, after]}}."""
    before = {name: _plain(row, name) for name in changes}
    for name, value in changes.items():
        setattr(row, name, value)
    row.save(update_fields=list(changes))
    return {
        "model": row._meta.label_lower,
        "pk": row.pk,
        "facts": {name: [before[name], _plain(row, name)] for name in changes},
    }


def _take_back(item: dict[str, Any], kept: Entry, gone: Entry) -> None:
    if "pks" in item:
        rows = apps.get_model(item["model"])._base_manager
        rows.filter(pk__in=item["pks"], **{item["field"]: kept}).update(**{item["field"]: gone})
        return
    row = kept if item["pk"] == kept.pk else gone
    back = {
        name: before
        for name, (before, after) in item["facts"].items()
        if _plain(row, name) == after  # else somebody has corrected it since
    }
    for name, value in back.items():
        setattr(row, name, row._meta.get_field(name).to_python(value))
    row.save(update_fields=list(back))


def _plain(row: models.Model, name: str) -> Any:
    """A fact as JSON keeps it; `name` is that of the column."""
    value = getattr(row, name)
    return value.isoformat() if isinstance(value, date) else value


def _refuse_people(kept: Person, gone: Person) -> None:
    for person in (kept, gone):
        if person.erased_on:
            raise Refused(_("%s was erased; there is nothing left to put together.") % person)
    logins = {user.person_id: user for user in User.objects.filter(person__in=[kept, gone])}
    if len(logins) > 1 and logins[gone.pk].is_active:
        raise Refused(
            _(
                "Both have a log-in, %(one)s and %(other)s. Have the second one closed first, or let the other entry stay."
            )
            % {"one": logins[kept.pk].email, "other": logins[gone.pk].email}
        )


def _filled_in(kept: Person, gone: Person) -> dict[str, Any]:
    """What the one that goes tells and the one that stays does not; that somebody is not to be written to always goes along."""
    facts: dict[str, Any] = {}
    for names in PERSON_FILLS:
        columns = [Person._meta.get_field(name).attname for name in names]
        if not any(getattr(kept, name) for name in columns):
            facts |= {name: getattr(gone, name) for name in columns if getattr(gone, name)}
    if gone.note and gone.note != kept.note:
        facts["note"] = "\n".join(filter(None, [kept.note, gone.note]))
    if gone.is_silent and (not kept.is_silent or (gone.died_on and not kept.died_on)):
        facts |= {
            "silent_since": min(filter(None, [kept.silent_since, gone.silent_since])),
            "silent_why": gone.silent_why,
            "died_on": gone.died_on or kept.died_on,
        }
    return facts
