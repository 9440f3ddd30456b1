"""Reads the book for a period and a set of sites and makes the figures of a report. The number of queries is fixed."""

from collections import defaultdict
from collections.abc import Callable

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Agency, Program
from sites.models import Site
from stewardship.care.choices import Evidence, Trigger
from stewardship.care.models import CareRule, Duty, Visit
from stewardship.reports.duties import duty_figures, fates_of, finding_figures, written
from stewardship.reports.figures import (
    AgencyLine,
    Figure,
    Figures,
    Group,
    Period,
    Row,
    SiteLine,
    count_by,
)
from stewardship.reports.standing import (
    AGREEMENT_WORDS,
    CONDITION_WORDS,
    KNOWN_FOR_DAYS,
    standing,
)
from stewardship.reports.work import rain_figures, storm_lines, work_figures


def gather(
    *, period: Period, agency: Agency | None = None, known_for_days: int = KNOWN_FOR_DAYS
) -> Figures:
    """The figures of a period, for all sites or those on one agency's ground.

    Counted are sites that stood, built and not retired, on some day of the period. Words are in the active language.
    """
    program = Program.get()
    sites = Site.objects.all() if agency is None else Site.objects.filter(agency=agency)
    stood = sites.filter(built_on__lte=period.as_of).filter(
        Q(retired_on__isnull=True) | Q(retired_on__gt=period.starts_on)
    )
    at_end = list(
        standing(sites, on=period.as_of, known_for_days=known_for_days).select_related("agency")
    )
    seen = list(
        Visit.objects.looks(until=period.as_of)
        .filter(happened_on__gte=period.starts_on, site__in=stood)
        .select_related("site")
        .order_by("happened_on", "pk")
    )
    duties = list(
        Duty.objects.filter(opened_on__range=(period.starts_on, period.as_of), site__in=stood)
        .select_related("site")
        .order_by("opened_on", "pk")
    )
    rules = list(CareRule.objects.filter(trigger=Trigger.AFTER_RAIN))
    storms = storm_lines(period, stood, program, rules)
    fates = fates_of(duties, as_of=period.as_of)
    groups = [
        Group(gettext_lazy("Sites"), _site_figures(at_end, seen, known_for_days)),
        Group(
            gettext_lazy("Found wanting and put right"),
            finding_figures(period, stood, duties, fates),
        ),
        Group(gettext_lazy("Duties"), duty_figures(duties, fates)),
        Group(gettext_lazy("Work done"), work_figures(period, stood)),
        Group(gettext_lazy("Rain and messages"), rain_figures(period, stood, storms, program)),
    ]
    figures = Figures(
        period=period,
        scope=agency.name if agency else "",
        known_for_days=known_for_days,
        thresholds_um=sorted(
            {
                rule.least_depth_um
                for rule in rules
                if rule.starts_on <= period.as_of
                and (rule.ends_on is None or rule.ends_on > period.starts_on)
            }
        ),
        groups=groups,
        by_agency=[],
        by_site=[],
        storms=storms,
    )
    figures.by_site.extend(_site_lines(at_end, seen, duties, fates, figures))
    figures.by_agency.extend(_agency_lines(figures.by_site))
    return figures


def _site_figures(at_end: list[Site], seen: list[Visit], known_for_days: int) -> list[Figure]:
    last_seen = {visit.site_id: visit for visit in seen}

    def of_sites(key: str, label, which: Callable[[Site], bool], what: Callable[[Site], str]):
        rows = [Row(s.last_look_on, s.code, what(s)) for s in at_end if which(s)]
        return Figure(key, label, rows=rows)

    def agreement(site: Site) -> str:
        words = str(AGREEMENT_WORDS[site.agreement_state])
        return f"{words}, {written(site.agreement_ends_on)}" if site.agreement_ends_on else words

    def look(site: Site) -> str:
        visit = last_seen[site.pk]
        return f"{written(visit.happened_on)}: {visit.get_evidence_display()}"

    def never(site: Site) -> str:
        if site.last_look_on is None:
            return _("never looked at")
        return _("last looked at %s") % written(site.last_look_on)

    figures = [
        Figure(
            "built",
            gettext_lazy("Sites built"),
            rows=[Row(s.built_on, s.code, s.address) for s in at_end],
        ),
        of_sites(
            "in_force",
            gettext_lazy("of these under an agreement in force"),
            lambda s: s.agreement_state == "in_force",
            agreement,
        ),
        of_sites(
            "looked_at", gettext_lazy("looked at in the period"), lambda s: s.pk in last_seen, look
        ),
    ]
    for level in Evidence:
        figures.append(
            of_sites(
                f"looked_at_{level}",
                LOOKED_AT_WORDS[level],
                lambda s, level=level: s.pk in last_seen and last_seen[s.pk].evidence == level,
                look,
            )
        )
    figures.append(
        of_sites(
            "unknown",
            gettext_lazy("unknown: nothing open, and nobody looked for %(days)s days")
            % {"days": known_for_days},
            lambda s: s.condition == "unknown",
            never,
        )
    )
    figures.append(
        of_sites(
            "new",
            gettext_lazy("new: built less than %(days)s days ago, not looked at yet")
            % {"days": known_for_days},
            lambda s: s.condition == "new",
            lambda s: s.address,
        )
    )
    return figures


LOOKED_AT_WORDS = {
    Evidence.INSPECTED: gettext_lazy("last look: inspected"),
    Evidence.PHOTO: gettext_lazy("last look: with a photo"),
    Evidence.REPORTED: gettext_lazy("last look: reported"),
}


def _site_lines(
    at_end: list[Site],
    seen: list[Visit],
    duties: list[Duty],
    became: dict[int, str],
    figures: Figures,
) -> list[SiteLine]:
    looks_of = count_by(Row(visit.happened_on, visit.site.code, "") for visit in seen)
    fates: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for duty in duties:
        fates[duty.site.code][became[duty.pk]] += 1
    litres: dict[str, float] = defaultdict(float)
    for key in ("silt_measured", "silt_estimated"):
        for row in figures.figure(key).rows:
            litres[row.site] += row.amount
    return [
        SiteLine(
            code=site.code,
            address=site.address,
            agency=site.agency.name if site.agency else "",
            condition=site.condition,
            condition_words=str(CONDITION_WORDS[site.condition]),
            agreement=str(AGREEMENT_WORDS[site.agreement_state]),
            agreement_ends_on=site.agreement_ends_on,
            looks=looks_of.get(site.code, 0),
            last_look_on=site.last_look_on,
            evidence=str(Evidence(site.last_look_evidence).label)
            if site.last_look_evidence
            else "",
            opened=sum(fates[site.code].values()),
            met_in_time=fates[site.code]["met"],
            met_late=fates[site.code]["met_late"],
            overdue=site.late_duties,
            litres=litres[site.code],
        )
        for site in at_end
    ]


def _agency_lines(lines: list[SiteLine]) -> list[AgencyLine]:
    by_name: dict[str, list[SiteLine]] = defaultdict(list)
    for line in lines:
        by_name[line.agency].append(line)
    in_force = str(AGREEMENT_WORDS["in_force"])
    return [
        AgencyLine(
            name=name,
            built=len(own),
            in_force=sum(line.agreement == in_force for line in own),
            looked_at=sum(line.looks > 0 for line in own),
            wanting=sum(line.condition in ("act", "unsafe") for line in own),
            overdue=sum(line.overdue > 0 for line in own),
            unknown=sum(line.condition == "unknown" for line in own),
        )
        for name, own in sorted(by_name.items())
    ]
