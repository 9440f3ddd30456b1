"""A list from the look to taking in; giving lists out."""

import hashlib

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import User
from stewardship.agreements.choices import ListState
from stewardship.agreements.lists.reading import read_lists
from stewardship.agreements.lists.taking import go_through
from stewardship.agreements.models import ListFile
from stewardship.common.errors import Refused


def look(
    *, name: str, content: bytes, kept_by: str, day_order: str, by: User | None = None
) -> ListFile:
    """Read a file and find out, row by row, what taking it in would do. Nothing of it is kept but the file.

    Raises
    ------
    Refused : it cannot be read, or holds no list.
    """
    kept_by = " ".join(kept_by.split())[:80]
    lists = read_lists(name, content)
    found = go_through(lists, kept_by=kept_by, order=day_order, by=by, keep=False)
    return ListFile.objects.create(
        name=name[-160:],
        kept_by=kept_by,
        day_order=day_order,
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        found=found,
        by=by,
    )


@transaction.atomic
def take(*, file: ListFile, by: User | None = None) -> ListFile:
    """Take in every row that stands; rows that do not are told with the reason, and change nothing.

    Raises
    ------
    Refused : it was taken in or left already.
    """
    file = _locked(file)
    lists = read_lists(file.name, bytes(file.content))
    file.found = go_through(
        lists, kept_by=file.kept_by, order=file.day_order, by=by or file.by, keep=True
    )
    return _settle(file, ListState.TAKEN)


@transaction.atomic
def leave(*, file: ListFile) -> ListFile:
    """Not to be taken in. Its bytes go; that it was looked at stays.

    Raises
    ------
    Refused : it was taken in or left already.
    """
    file = _locked(file)
    file.content = b""
    return _settle(file, ListState.LEFT)


def _locked(file: ListFile) -> ListFile:
    file = ListFile.objects.select_for_update(of=("self",)).get(pk=file.pk)
    if file.state != ListState.LOOKED:
        raise Refused(_("This list was %s already.") % file.get_state_display())
    return file


def _settle(file: ListFile, state: ListState) -> ListFile:
    file.state, file.settled_at = state, timezone.now()
    file.save(update_fields=["state", "settled_at", "content", "found"])
    return file


def give_out(*, name: str, content: bytes, by: User | None) -> ListFile:
    """Write down that lists with people's addresses left the book: who, when, and the hash of what they got."""
    return ListFile.objects.create(
        name=name, state=ListState.GIVEN, sha256=hashlib.sha256(content).hexdigest(), by=by
    )
