"""A storm at its sites: what each got, who must look and why, who was told, who answered."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from sites.models import Site
from stewardship.care.choices import AnswerKind, Trigger
from stewardship.care.models import CareRule, Duty
from stewardship.common.written import day_text, depth_text, least_shown_um, moment_text
from stewardship.front.storms import NEEDS, duties_of, need_of
from stewardship.outbox.choices import Channel, Status
from stewardship.rain.choices import Sureness
from stewardship.rain.models import DeclaredRain, SiteRain, Storm
from stewardship.rain.times import last_day
from stewardship.rain.unusual import Unusual, unusual_at_sites

#: The mark beside how a site stands.
NEED_MARKS = {
    "nobody": "act",
    "listed": "act",
    "not_told": "queued",
    "earlier": "open",
    "silent": "open",
    "answered": "watch",
    "unknown": "unknown",
    "met": "met",
    "excused": "excused",
    "withdrawn": "withdrawn",
    "none": "no",
}


@dataclass(frozen=True)
class Source:
    """A gauge that a site's rain comes from: its share in whole per cent, how far it is. [m]"""

    gauge: str
    percent: int
    distance_m: float | None


@dataclass(frozen=True)
class SiteNeed:
    """What a storm was at one site and what came of it.

    need    a key of `NEEDS`
    why     in words, why it needs the coordinator or why nothing is due; "" where the other columns say it
    """

    rain: SiteRain
    duty: Duty | None
    need: str
    why: str = ""
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
    def told_words(self) -> list[str]:
        """When a letter left; else what holds it up, and when they were told of an earlier storm."""
        duty = self.duty
        if duty is None:
            return []
        if duty.told_at:
            return [str(moment_text(duty.told_at))]
        said = []
        if duty.waits_until:
            said.append(self._waiting_words)
        elif duty.last_status and duty.last_status != Status.SENT:
            said.append(str(Status(duty.last_status).label))
        if duty.told_before:
            day = day_text(timezone.localtime(duty.told_before).date())
            said.append(_("told %s, of an earlier storm") % day)
        return said

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
            return _("%s, after an earlier storm") % AnswerKind(self.duty.answer_before).label
        return ""


def declared_text(declared: DeclaredRain) -> str:
    return _("Declared by %(who)s: %(why)s") % {
        "who": declared.by or "–",
        "why": declared.reason,
    }


def sites_by_need(storm: Storm, *, program: Program) -> list[SiteNeed]:
    """Every site of the storm, those that need somebody first, then by depth."""
    duties = {
        duty.site_id: duty
        for duty in duties_of(storm)
        .select_related("owed_by__person", "owed_by__agency", "owed_by__organisation")
        .order_by("pk")
    }
    declared = DeclaredRain.objects.of_storms([storm])
    rains = list(storm.site_rains.select_related("site").prefetch_related("site__basins"))
    unusual = unusual_at_sites(
        [rain for rain in rains if (rain.depth_um or 0) >= least_shown_um(program.units)]
    )
    day = last_day(storm.end_s, program.tz)
    limits = _limits(day)
    asked = dict(storm.rain_questions.open().values_list("site_id", "ask"))
    rows = []
    for rain in rains:
        duty = duties.get(rain.site_id)
        if duty is not None:
            need, why = need_of(duty), _why_it_needs_you(duty)
        elif rain.sureness == Sureness.UNKNOWN:
            need, why = "unknown", ""
        else:
            need, why = "none", _why_nothing(rain, limits, day, program.units)
        if rain.site_id in asked:
            why = _("waits for your decision")
        rows.append(
            SiteNeed(
                rain,
                duty,
                need,
                why,
                declared.get((storm.pk, rain.site_id)),
                unusual.get(rain.pk),
            )
        )
    order = list(NEEDS)
    return sorted(
        rows,
        key=lambda row: (order.index(row.need), -(row.rain.depth_um or 0), row.rain.site.code),
    )


def sure_of(rows: Sequence[SiteNeed]) -> list[Sureness]:
    """How sure the sites' rain is, each word once, the surest first."""
    found = {row.rain.sureness for row in rows}
    return [sureness for sureness in Sureness if sureness in found]


# -- why --------------------------------------------------------------------------------------------------------
def _limits(day: date) -> dict[str, int]:
    """From which rain at the site a look is due, by phase, by the rules of that day. [µm]"""
    rules = CareRule.objects.on(day).filter(trigger=Trigger.AFTER_RAIN)
    return {rule.phase: rule.least_depth_um for rule in reversed(rules)}


def _why_it_needs_you(duty: Duty) -> str:
    return str(duty.get_needs_person_why_display()) if need_of(duty) == "listed" else ""


def _why_nothing(rain: SiteRain, limits: dict[str, int], day: date, units: str) -> str:
    """The site's own limit; or, where it was reached, what else kept a look from falling due."""
    site: Site = rain.site
    least_um = limits.get(site.phase(on=day))
    if least_um is None:
        return _("no rule for rain here")
    if rain.weighed_at is None:
        return _("not looked at yet")
    limit = depth_text(least_um, units)
    if (rain.depth_um or 0) < least_um:
        return _("due here from %s on") % limit
    return _("over %s, but somebody had looked since, the site rested, or it was known too late") % limit  # fmt: skip
