"""Pages of people by topic."""

from people.views.alike import alike
from people.views.erasure import erase
from people.views.households import household, household_edit
from people.views.merges import merge_undo, merges, same_household, same_person
from people.views.persons import PersonList, contact_dead, edit, external_add, external_drop, new

__all__ = [
    "PersonList",
    "alike",
    "contact_dead",
    "edit",
    "erase",
    "external_add",
    "external_drop",
    "household",
    "household_edit",
    "merge_undo",
    "merges",
    "new",
    "same_household",
    "same_person",
]
