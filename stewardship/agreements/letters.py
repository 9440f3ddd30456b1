"""Letters about agreements: to a new owner after a sale, and before an agreement runs out.

Both are courtesies: a formal notice goes the way that the agreement's notices clause says.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.utils import timezone, translation
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from people.agents import readers_of
from people.models import Person, Program
from people.reach import address_of
from sites.models import Site
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement
from stewardship.common.written import day_text
from stewardship.outbox.choices import MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message


def new_owner_letter(
    *, agreement: Agreement, sites: Iterable[Site], buyer: Person, on: date
) -> Message | None:
    """What the sale did, told to the new owner once per agreement and day of sale. None: nothing reaches them."""
    carries_over = INSTRUMENTS[agreement.instrument].binds_successors

    def context(sites: list[Site]) -> dict[str, Any]:
        return {"carries_over": carries_over, "on": day_text(on), **_about(agreement, sites)}

    return _queue(
        f"new-owner-{agreement.pk}-{on:%Y%m%d}-{buyer.pk}",
        "new-owner",
        buyer,
        list(sites),
        context,
    )


def renewal_letter(*, agreement: Agreement, person: Person) -> Message | None:
    """That an agreement runs out, told to one of those who signed it, once per term. None: nothing reaches them."""

    def context(sites: list[Site]) -> dict[str, Any]:
        rolls_on = bool(INSTRUMENTS[agreement.instrument].rolls_on_years)
        ends = day_text(agreement.ends_on)
        return {"ends": ends, "rolls_on": rolls_on, **_about(agreement, sites)}

    return _queue(
        renewal_key(agreement, person),
        "renewal",
        person,
        list(agreement.sites.all()),
        context,
    )


def renewal_key(agreement: Agreement, person: Person) -> str:
    """The key of the one letter to a person about the end of an agreement's present term."""
    return f"renewal-{agreement.pk}-{agreement.ends_on:%Y%m%d}-{person.pk}"


def _about(agreement: Agreement, sites: list[Site]) -> dict[str, Any]:
    return {
        "reference": agreement.reference,
        "instrument": str(agreement.get_instrument_display()).lower(),
        "order": f"{sites[0].street} {sites[0].address}" if sites else "",
    }


def _queue(key, template, person, sites, context) -> Message | None:
    reader = readers_of([person], on=Program.get().today())[person.pk]
    address = address_of(reader) if reader else None
    if address is None:
        return None
    with translation.override(reader.language):
        told = context(sites) | {
            "names": person.given_name,
            "addresses": get_text_list([site.address for site in sites], _("and")),
            "for_another": person.full_name if reader.pk != person.pk else "",
        }
    return queue_message(
        key=key,
        message_class=MessageClass.REMINDER,
        channel=address.channel,
        to_name=reader.full_name,
        to_address=address.value,
        language=reader.language,
        template=template,
        context=told,
        due_at=timezone.now(),
    )
