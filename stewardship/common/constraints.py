"""Small builders for named constraints, so that every app words them alike."""

from collections.abc import Iterable

from django.db.models import CheckConstraint, F, Q


def one_of(field: str, choices: Iterable[str], *, name: str) -> CheckConstraint:
    """The field holds one of the listed choice values."""
    return CheckConstraint(condition=Q(**{f"{field}__in": list(choices)}), name=name)


def not_negative(field: str, *, name: str) -> CheckConstraint:
    """The number is zero or more, or not known (null)."""
    return CheckConstraint(
        condition=Q(**{f"{field}__gte": 0}) | Q(**{f"{field}__isnull": True}), name=name
    )


def in_order(first: str, last: str, *, name: str) -> CheckConstraint:
    """`last` is not before `first`; an open end (null) is allowed."""
    return CheckConstraint(
        condition=Q(**{f"{last}__isnull": True}) | Q(**{f"{last}__gte": F(first)}), name=name
    )
