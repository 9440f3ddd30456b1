"""What a storm was at each site: which gauges say so and from how far, and why a nearer one does not."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from stewardship.common.written import far_text
from stewardship.front.storm_gauges import GaugeRecord
from stewardship.front.storm_sites import SiteNeed, Source
from stewardship.hydrology.spread import haversine_m


@dataclass(frozen=True)
class AtSite:
    """One site's rain with the gauges that it comes from, heaviest first; in words, gauges near it that it does not come from."""

    need: SiteNeed
    sources: list[Source]
    without: list[str]


def by_site(
    rows: Sequence[SiteNeed], records: Sequence[GaugeRecord], *, units: str
) -> list[AtSite]:
    """The sites in the order of their codes, as somebody looks one up."""
    return [
        AtSite(row, row.sources, _left_out(row) + _out_of_reach(row, records, units))
        for row in sorted(rows, key=lambda row: row.rain.site.code)
    ]


def _left_out(row: SiteNeed) -> list[str]:
    """Gauges in reach that do not know the whole storm. Where other gauges speak, why that is stands above the table."""
    return [
        left["why"]
        if not left["gauge"]
        else _("without %s") % left["gauge"]
        if row.sources
        else _("without %(gauge)s: %(why)s") % left
        for left in row.rain.left_out
    ]


def _out_of_reach(row: SiteNeed, records: Sequence[GaugeRecord], units: str) -> list[str]:
    """Gauges that a reader of the map would expect here: nearer than the second one that counts, and too far for their reach."""
    site = row.rain.site
    counting = sorted(source.distance_m for source in row.sources if source.distance_m is not None)
    if not counting or not site.has_place:
        return []
    used = {one["gauge"] for one in row.rain.sources}
    away = [
        (float(haversine_m(site.lat, site.lon, one.place.lat, one.place.lon)), one)
        for one in records
        if one.place is not None and one.gauge.code not in used and not one.why_out
    ]
    expected = counting[:2][-1]
    too_far = [
        f"{one.gauge.code} ({far_text(away_m, units)})"
        for away_m, one in sorted(away, key=lambda pair: pair[0])
        if one.gauge.reach_m < away_m < expected
    ]
    return [_("too far for %s") % ", ".join(too_far)] if too_far else []


def reaches(records: Sequence[GaugeRecord]) -> list[tuple[str, str]]:
    """How far each gauge speaks, as a distance in words and the gauges that it holds for, the shortest first."""
    found: dict[str, list[str]] = {}
    for one in sorted(records, key=lambda one: (one.gauge.reach_m, one.gauge.code)):
        found.setdefault(one.reach_words, []).append(one.gauge.code)
    return [(far, ", ".join(codes)) for far, codes in found.items()]
