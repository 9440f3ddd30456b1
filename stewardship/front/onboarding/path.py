"""Taking on a household, step by step: what each step writes, what is done, what comes next.

Everything lives in rows from the first step on (people, a draft agreement, proposed sites), so nothing typed is lost and
anybody can go on where somebody stopped.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import ProtectedError
from django.utils import translation
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from people.models import Program, User
from sites.choices import Phase, Stage
from sites.models import Basin, Site
from stewardship.agreements import services
from stewardship.agreements.choices import Capacity, InstrumentKind, ResponsibilityRole
from stewardship.agreements.duties import USUAL_SCHEDULE, ScheduleLine, duties_of
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement, Party, Responsibility
from stewardship.agreements.standing import current_document
from stewardship.care.choices import Trigger
from stewardship.care.models import CareRule
from stewardship.common.errors import Refused
from stewardship.common.written import depth_text

#: In what capacity somebody is taken on, and what they may be offered; the first is the usual one.
OFFERS = {
    Capacity.OWNER: (
        InstrumentKind.CARE_AGREEMENT,
        InstrumentKind.LICENCE,
        InstrumentKind.COVENANT,
    ),
    Capacity.TENANT: (
        InstrumentKind.CARE_AGREEMENT,
        InstrumentKind.LICENCE,
        InstrumentKind.COVENANT,
    ),
    Capacity.AGENCY_OFFICER: (InstrumentKind.MEMORANDUM,),
    Capacity.HELPER: (InstrumentKind.HELPER,),
}


#: A site code that can be counted on: letters and what else, then a number.
NUMBERED = re.compile(r"(.*?)(\d+)")


@dataclass(frozen=True)
class Step:
    """One step of the path as the page shows it."""

    name: str
    title: str | Promise
    done: bool
    number: int


TITLES: dict[str, Promise] = {
    "who": gettext_lazy("Who"),
    "where": gettext_lazy("Where"),
    "works": gettext_lazy("What will be built"),
    "duties": gettext_lazy("What there is to do"),
    "agreement": gettext_lazy("The agreement"),
}


def step_names(agreement: Agreement | None) -> list[str]:
    """The steps of this agreement; a helper agreement has no basins of its own."""
    if agreement and not INSTRUMENTS[agreement.instrument].covers_sites:
        return ["who", "agreement"]
    return list(TITLES)


def steps(agreement: Agreement | None) -> list[Step]:
    done = _done(agreement) if agreement else {}
    return [
        Step(name, TITLES[name], done.get(name, False), number)
        for number, name in enumerate(step_names(agreement), start=1)
    ]


def _done(agreement: Agreement) -> dict[str, bool]:
    sites = list(agreement.sites.prefetch_related("basins"))
    return {
        "who": main_party(agreement) is not None,
        "where": bool(sites),
        "works": bool(sites) and all(site.basins.all() for site in sites),
        "duties": agreement.duties_shown.count() == len(duties_of(agreement.instrument)),
        "agreement": current_document(agreement) is not None,
    }


def next_step(agreement: Agreement) -> str:
    """The first step that is not done; the last one when all are."""
    found = steps(agreement)
    return next((step.name for step in found if not step.done), found[-1].name)


def after(agreement: Agreement, name: str) -> str:
    """The step behind `name`."""
    names = step_names(agreement)
    return names[min(names.index(name) + 1, len(names) - 1)]


# -- who --------------------------------------------------------------------------------------------------------
def main_party(agreement: Agreement) -> Party | None:
    """The party that was taken on: tenant, owner, officer or helper, in this order."""
    order = [Capacity.TENANT, Capacity.OWNER, Capacity.AGENCY_OFFICER, Capacity.HELPER]
    parties = agreement.parties.select_related("person").filter(capacity__in=order)
    return min(parties, key=lambda p: (order.index(p.capacity), p.pk), default=None)


def landlord_party(agreement: Agreement) -> Party | None:
    return agreement.parties.select_related("person").filter(capacity=Capacity.LANDLORD).first()


def beside_parties(agreement: Agreement) -> list[Party]:
    """Those who sign in the same capacity as the main party: spouses, heirs, other owners."""
    main = main_party(agreement)
    if main is None:
        return []
    same = agreement.parties.select_related("person", "organisation").exclude(pk=main.pk)
    return list(same.filter(capacity=main.capacity))


# -- where ------------------------------------------------------------------------------------------------------
def suggested_code() -> str:
    """The code after that of the newest site with a number: OAK-12 → OAK-13."""
    codes = Site.objects.order_by("-pk").values_list("code", flat=True)
    newest = next((found for code in codes if (found := NUMBERED.fullmatch(code))), None)
    if newest is None:
        return "" if codes else "S-1"
    stem, number, places = newest[1], int(newest[2]), len(newest[2])
    taken = {code.casefold() for code in codes}
    while f"{stem}{number:0{places}d}".casefold() in taken:
        number += 1
    return f"{stem}{number:0{places}d}"


def free_sites(agreement: Agreement) -> Any:
    """Sites in the book that nobody looks after yet, so that they could be taken into this agreement."""
    cared_for = Responsibility.objects.as_of(Program.get().today()).filter(
        role=ResponsibilityRole.DOES
    )
    free = Site.objects.exclude(stage=Stage.RETIRED).exclude(agreements=agreement)
    return free.exclude(pk__in=cared_for.values("site_id")).order_by("code")


def take_site(*, agreement: Agreement, site: Site, by: User) -> Agreement:
    return services.change_draft(agreement=agreement, sites=[*agreement.sites.all(), site], by=by)


def leave_site(*, agreement: Agreement, site: Site, by: User) -> Agreement:
    """Take a site out of the agreement; it stays in the book."""
    rest = [one for one in agreement.sites.all() if one.pk != site.pk]
    return services.change_draft(agreement=agreement, sites=rest, by=by)


# -- works ------------------------------------------------------------------------------------------------------
@transaction.atomic
def remove_basin(*, basin: Basin) -> None:
    """Take a basin that was only planned out of the book.

    Raises
    ------
    Refused : it is built, or something has been recorded about it.
    """
    site = Site.objects.select_for_update().get(pk=basin.site_id)
    words = _("Basin %s is built; it cannot be taken out of the book.") % basin
    if site.stage in (Stage.BUILT, Stage.RETIRED):
        raise Refused(words)
    try:
        for inlet in basin.inlets.all():
            if hasattr(inlet, "trap"):
                inlet.trap.delete()
            inlet.delete()
        basin.plantings.all().delete()
        basin.delete()
    except ProtectedError as error:
        raise Refused(words) from error


# -- duties -----------------------------------------------------------------------------------------------------
def care_schedule(*, on: date, language: str, program: Program) -> Sequence[ScheduleLine] | None:
    """When what is due by the care rules in effect that day, in words; None where there are none."""
    rules = {(rule.phase, rule.trigger): rule for rule in CareRule.objects.on(on)}
    if not rules:
        return None
    with translation.override(language):
        return [
            ScheduleLine(
                phase,
                _after_rain(rules.get((phase, Trigger.AFTER_RAIN)), program.units),
                _by_calendar(rules.get((phase, Trigger.CALENDAR))),
            )
            for phase in Phase
        ]


def _after_rain(rule: CareRule | None, units: str) -> str:
    if rule is None:
        return _("not asked for")
    days = rule.due_within_days
    return ngettext(
        "each storm of %(depth)s or more, within %(days)d day of our message",
        "each storm of %(depth)s or more, within %(days)d days of our message",
        days,
    ) % {"depth": depth_text(rule.least_depth_um, units), "days": days}


def _by_calendar(rule: CareRule | None) -> str:
    if rule is None:
        return _("nothing besides")
    return ngettext("every day", "every %d days", rule.every_days).replace(
        "%d", str(rule.every_days)
    )


def shown_schedule(*, on: date, program: Program) -> Sequence[ScheduleLine]:
    """What the page shows, in its own language."""
    return (
        care_schedule(on=on, language=translation.get_language() or "en", program=program)
        or USUAL_SCHEDULE
    )
