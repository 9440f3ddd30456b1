"""What a change will do to an agreement, said before anybody clicks: one sentence each. Reads only."""

from datetime import date

from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from sites.choices import Stage
from stewardship.agreements.choices import AgreementState, Capacity, ResponsibilityRole
from stewardship.agreements.instruments import INSTRUMENTS, TITLE
from stewardship.agreements.models import Agreement, Responsibility


def and_list(words: list[str]) -> str:
    return get_text_list(list(dict.fromkeys(words)), _("and"))


def held_on(agreement: Agreement, *, on: date) -> list[Responsibility]:
    """What is held under the agreement that day."""
    return list(
        agreement.responsibilities.as_of(on)
        .select_related("person", "agency", "organisation", "site")
        .order_by("pk")
    )


def sale_effects(agreement: Agreement, *, on: date) -> list[str]:
    """What writing down a sale does, by the instrument."""
    rules = INSTRUMENTS[agreement.instrument]
    held = held_on(agreement, on=on)
    tenants = set(
        agreement.parties.filter(capacity=Capacity.TENANT).values_list("person", flat=True)
    )
    sellers = and_list(
        [str(row.holder) for row in held if not row.agency_id and row.person_id not in tenants]
    ) or _("the owner")
    said = []
    if agreement.seller_owes_until_proof:
        said.append(
            _(
                "This agreement says that the seller owes until the transfer is proven: without the proof, the work goes on being owed by %s."
            )
            % sellers
        )
    if rules.on_sale == "carries_over":
        said.append(
            _(
                "A covenant binds whoever owns the property: what was owed by %s is owed by the new owner from the day of the sale."
            )
            % sellers
        )
        said.append(
            _("While the new owner is not known, nobody is responsible; the sites stand on Today.")
        )
        tenants_doing = [
            str(r.holder)
            for r in held
            if r.person_id in tenants and r.role == ResponsibilityRole.DOES
        ]
        if tenants_doing:
            said.append(
                _("The work goes on being done by %s, who rents there.") % and_list(tenants_doing)
            )
        said.append(_("The new owner gets a letter that says what came with the property."))
    else:
        said.append(
            _(
                "This kind of agreement lapses with a sale: it ends on the day of the sale, and with it what is owed by %s."
            )
            % and_list([str(row.holder) for row in held if not row.agency_id] or [sellers])
        )
        said += _nobody_then(agreement)
        said.append(
            _("The new owner is asked by letter to sign anew, with a draft that names them.")
        )
    return said


def _nobody_then(agreement: Agreement) -> list[str]:
    """What becomes of the sites once the agreement has ended."""
    built = [site.code for site in agreement.sites.all() if site.stage == Stage.BUILT]
    agreed = [site.code for site in agreement.sites.all() if site.stage == Stage.AGREED]
    said = []
    if built:
        said.append(
            _("From that day nobody is responsible at %s, until somebody signs.") % and_list(built)
        )
    if agreed:
        said.append(_("Nothing may be built at %s until somebody signs.") % and_list(agreed))
    return said


def tenant_out_effects(agreement: Agreement, *, on: date) -> list[str]:
    """What writing down does that the tenant has moved out."""
    tenants = agreement.parties.filter(capacity=Capacity.TENANT).select_related("person")
    titled = agreement.parties.filter(capacity__in=TITLE, must_sign=True).select_related("person")
    return [
        _("What was promised by %s ends that day; the agreement itself goes on.")
        % and_list([str(party.person) for party in tenants]),
        _("The work is then done by %s, or by nobody for now: you choose.")
        % (and_list([str(party.person) for party in titled]) or _("the owner")),
        _(
            "A new tenant takes the work over by signing the next agreement; it is drafted here if you name them."
        ),
    ]


def consent_effects(agreement: Agreement, *, on: date) -> list[str]:
    """What writing down does that the landlord takes their consent back."""
    return [
        _(
            "A tenant cannot bind the ground alone: the agreement ends that day, and nobody owes anything under it any more."
        ),
        *_nobody_then(agreement),
        _(
            "What is built stays built. Who cares for it, or whether it goes, is to be settled with the landlord."
        ),
    ]


def end_effects(agreement: Agreement, *, on: date) -> list[str]:
    """What ending or withdrawing it does."""
    if agreement.state != AgreementState.IN_FORCE:
        return [_("Nobody has been bound by it yet. What was written down stays in the book.")]
    held = and_list([str(row.holder) for row in held_on(agreement, on=on)])
    said = [_("Nobody is bound by it from that day: %s.") % held] if held else []
    return [*said, *_nobody_then(agreement)]
