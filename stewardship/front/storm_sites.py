"""A storm at its sites: what each got and how sure that is, who must look, who was told, who answered."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.care.choices import AnswerKind, DutyState
from stewardship.care.models import Duty
from stewardship.common.written import moment_text
from stewardship.front.storms import duties_of
from stewardship.outbox.choices import Channel, Status
from stewardship.rain.choices import Sureness
from stewardship.rain.models import DeclaredRain, SiteRain, Storm
from stewardship.rain.unusual import Unusual, unusual_at_sites


@dataclass(frozen=True)
class Source:
    """A gauge that a site's rain comes from: its share in whole per cent, how far it is. [m]"""

    gauge: str
    percent: int
    distance_m: float | None


@dataclass(frozen=True)
class SiteNeed:
    """What a storm was at one site and what came of it. `need` is a key of `NEEDS`."""

    rain: SiteRain
    duty: Duty | None
    need: str
    declared: DeclaredRain | None = None
    unusual: Unusual | None = None

    @property
    def words(self) -> str:
        return str(NEEDS[self.need])

    @property
    def sources(self) -> list[Source]:
        """The gauges, heaviest first; those whose share rounds to nothing are left out."""
        each = (
            Source(one["gauge"], round(100 * one["weight"]), one.get("distance_m"))
            for one in self.rain.sources
        )
        return [source for source in each if source.percent]

    @property
    def declared_words(self) -> str:
        return declared_text(self.declared) if self.declared else ""

    @property
    def mark(self) -> str:
        return NEED_MARKS[self.need]

    @property
    def told_words(self) -> str:
        """When a letter left; else what holds it up; else when they were told of an earlier storm."""
        duty = self.duty
        if duty is None:
            return ""
        if duty.told_at:
            return str(moment_text(duty.told_at))
        if duty.waits_until:
            return self._waiting_words
        if duty.told_before:
            return _("earlier storm: %s") % moment_text(duty.told_before)
        return str(Status(duty.last_status).label) if duty.last_status else ""

    @property
    def _waiting_words(self) -> str:
        if self.duty.waits_as == Channel.LETTER:
            return _("letter waits to be posted")
        if self.duty.waits_until <= timezone.now():
            return _("about to go out")
        return _("goes out %s") % moment_text(self.duty.waits_until)

    @property
    def answer_words(self) -> str:
        if self.duty is None:
            return ""
        if self.duty.answer_kind:
            return str(AnswerKind(self.duty.answer_kind).label)
        if self.duty.answer_before:
            return _("earlier storm: %s") % AnswerKind(self.duty.answer_before).label
        return ""


def declared_text(declared: DeclaredRain) -> str:
    return _("Declared by %(who)s: %(why)s") % {
        "who": declared.by or "–",
        "why": declared.reason,
    }


#: How a site stands after a storm, those that need somebody first.
NEEDS = {
    "nobody": gettext_lazy("due, nobody owes it"),
    "listed": gettext_lazy("needs you"),
    "not_told": gettext_lazy("due, not told yet"),
    "earlier": gettext_lazy("told of an earlier storm"),
    "silent": gettext_lazy("told, no answer yet"),
    "answered": gettext_lazy("answered, still open"),
    "unknown": gettext_lazy("rain not known"),
    "met": gettext_lazy("done"),
    "closed": gettext_lazy("excused or withdrawn"),
    "none": gettext_lazy("nothing due"),
}
#: The mark beside each.
NEED_MARKS = {
    "nobody": "act",
    "listed": "act",
    "not_told": "queued",
    "earlier": "open",
    "silent": "open",
    "answered": "watch",
    "unknown": "unknown",
    "met": "met",
    "closed": "excused",
    "none": "no",
}


def sites_by_need(storm: Storm) -> list[SiteNeed]:
    """Every site of the storm, those that need somebody first, then by depth."""
    duties = {
        duty.site_id: duty
        for duty in duties_of(storm)
        .select_related("owed_by__person", "owed_by__agency")
        .order_by("pk")
    }
    declared = DeclaredRain.objects.of_storms([storm])
    rains = list(storm.site_rains.select_related("site"))
    unusual = unusual_at_sites(rains)
    rows = [
        SiteNeed(
            rain,
            duty,
            _need(rain, duty),
            declared.get((storm.pk, rain.site_id)),
            unusual.get(rain.pk),
        )
        for rain in rains
        for duty in [duties.get(rain.site_id)]
    ]
    order = list(NEEDS)
    return sorted(
        rows,
        key=lambda row: (order.index(row.need), -(row.rain.depth_um or 0), row.rain.site.code),
    )


def by_site(rows: Sequence[SiteNeed]) -> list[SiteNeed]:
    """The same rows in the order of the sites' codes, as somebody looks one up."""
    return sorted(rows, key=lambda row: row.rain.site.code)


def sure_of(rows: Sequence[SiteNeed]) -> list[Sureness]:
    """How sure the sites' rain is, each word once, the surest first."""
    found = {row.rain.sureness for row in rows}
    return [sureness for sureness in Sureness if sureness in found]


def _need(rain: SiteRain, duty: Duty | None) -> str:
    if duty is None:
        return "unknown" if rain.sureness == Sureness.UNKNOWN else "none"
    if duty.state == DutyState.MET:
        return "met"
    if duty.state != DutyState.OPEN:
        return "closed"
    if duty.owed_by_id is None:
        return "nobody"
    if duty.needs_person_since:
        return "listed"
    if duty.answer_kind:
        return "answered"
    if duty.told_at:
        return "silent"
    return "earlier" if duty.told_before and not duty.waits_until else "not_told"
