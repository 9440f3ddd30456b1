"""All that step 1 asks, as one page: who is taken on, who signs beside or for them, who lets them the place."""

from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from people.models import Person
from stewardship.agreements.choices import Capacity
from stewardship.agreements.models import Agreement
from stewardship.front.onboarding.path import landlord_party
from stewardship.front.onboarding.who_forms import (
    AgentForm,
    LandlordForm,
    Row,
    SomebodyForm,
    WhoForm,
)

#: Rows for people who sign beside the first; more come after saving.
SPARE = 2


@dataclass(frozen=True)
class Acts:
    """Somebody, from the book or new, who acts for the person taken on."""

    who: Person | dict[str, Any]
    letters: bool
    signs: bool
    authority: str


@dataclass
class Fold:
    """A part of the page that stays folded until it is needed: rows of fields under a heading."""

    heading: Any
    rows: list[Row]
    note: Any = ""
    opened: bool = field(init=False)

    def __post_init__(self) -> None:
        self.opened = any(
            one.errors or one.value() not in ("", None, False) for row in self.rows for one in row
        )


class WhoPage:
    """All forms of the step as one: `is_valid`, what is to be written, and the parts to show."""

    def __init__(
        self, data: QueryDict | None, agreement: Agreement | None, person: Person | None
    ) -> None:
        self.main = WhoForm(data, person=person, initial=WhoForm.initial_for(agreement, person))
        if agreement:
            parties = agreement.parties.select_related("person", "signs_by")
            self.main.apart = {
                one for party in parties for one in (party.person, party.signs_by) if one
            }
        landlord = landlord_party(agreement) if agreement else None
        self.landlord = LandlordForm(
            data, prefix="landlord", initial={"person": landlord.person_id if landlord else None}
        )
        self.also = [SomebodyForm(data, prefix=f"also{n}") for n in range(SPARE)]
        self.agent = AgentForm(data, prefix="agent")

    @property
    def all(self) -> list[forms.Form]:
        return [self.main, self.landlord, *self.also, self.agent]

    @property
    def capacity(self) -> str:
        return self.main.cleaned_data.get("capacity", "")

    def is_valid(self) -> bool:
        """All of them are asked, so that all there is to put right is said at once."""
        valid = [form.is_valid() for form in self.all]
        if self.capacity == Capacity.TENANT:
            valid.append(self._landlord_named())
        return all(valid)

    def _landlord_named(self) -> bool:
        form = self.landlord
        if form.errors:
            return False
        if not form.filled:
            form.add_error(
                "person", _("A tenant’s promise needs the landlord’s consent: say who that is.")
            )
        elif self.main.person and form.cleaned_data["person"] == self.main.person:
            form.add_error("person", _("Nobody is their own landlord: choose “the owner”."))
        return not form.errors

    @property
    def folds(self) -> list[Fold]:
        main = self.main
        return [
            Fold(_("If they rent: the landlord"), self.landlord.rows),
            *(
                Fold(
                    _("And also signs …") if n == 0 else _("And one more"),
                    form.rows,
                    _(
                        "Spouses, heirs, other owners. Without an address of their own they share the ones above."
                    ),
                )
                for n, form in enumerate(self.also)
            ),
            Fold(
                _("Somebody acts for them"),
                self.agent.rows,
                _("A daughter who handles the mail; somebody with a power of attorney."),
            ),
            Fold(
                _("They sign for a company, condominium, trust or estate"),
                main.rows(("organisation",), ("organisation_name", "organisation_kind")),
            ),
            Fold(
                _("If they speak for an agency: which office"),
                main.rows(("agency", "agency_office")),
            ),
            Fold(
                _("Whom they live with"),
                main.rows(("household",), ("household_name", "household_address")),
            ),
        ]

    def landlord_who(self) -> Person | dict[str, Any] | None:
        if self.capacity != Capacity.TENANT:
            return None
        return self.landlord.who(self.main.facts())

    def also_who(self) -> list[Person | dict[str, Any]]:
        """Those who sign beside them; somebody new belongs to the same household."""
        beside = self.main.facts()
        found = [form.who(beside) for form in self.also if form.filled]
        home = {"household": beside["household"]}
        return [one if isinstance(one, Person) else one | home for one in found]

    def acts(self) -> Acts | None:
        """Who acts for them, and how; None: nobody is named."""
        if not self.agent.filled:
            return None
        cleaned = self.agent.cleaned_data
        return Acts(
            self.agent.who(self.main.facts()),
            letters=cleaned["letters"],
            signs=cleaned["signs"],
            authority=cleaned["authority"],
        )
