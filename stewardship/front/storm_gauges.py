"""A storm at its gauges: who took part and who was left out, what each measured, how far it speaks."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from stewardship.common.written import far_text, hours_text, moment_text
from stewardship.front.storm_hours import Interval, intervals
from stewardship.front.storm_sites import SiteNeed
from stewardship.hydrology.spread import haversine_m
from stewardship.rain.choices import ReadingKind
from stewardship.rain.models import Gauge, GaugePlace, GaugeStorm, Reading, Storm, instant
from stewardship.rain.reckoning.record import known_times, outages_of
from stewardship.rain.reckoning.spreading import must_be_known_s
from stewardship.rain.times import DAY_S, HOUR_S, LONGEST_DAY_S, last_day
from stewardship.rain.unusual import Unusual, unusual_at_gauges


@dataclass
class GaugeRecord:
    """What a gauge measured of a storm. A long storm may have several parts of one gauge, with dry hours between them.

    units     of the program, for its notes
    place     where it stood then, None where nobody wrote it down
    depth_um  what it measured, None where it has no part in the storm and was left out
    why_out   in words, what of the storm it does not know; "" if it knows it all
    nearest_m how far the nearest site is, None where no site or the gauge has no place
    share     of the map's area that is nearer to it than to other gauges, None if it does not count; `percent` the same in
              whole per cent, which add up to 100
    """

    gauge: Gauge
    units: str
    place: GaugePlace | None
    parts: list[GaugeStorm]  # with `representative`, earliest first
    readings: list[Reading]
    depth_um: int | None
    why_out: str = ""
    nearest_m: float | None = None
    percent: int | None = None
    share: float | None = None
    svg: str = ""
    unusual: Unusual | None = None

    @property
    def intervals(self) -> list[Interval]:
        return intervals(self.readings, silence_is_dry=not self.gauge.lists_dry)

    @property
    def too_far(self) -> bool:
        """From every site to speak for it."""
        return self.nearest_m is not None and self.nearest_m > self.gauge.reach_m

    @property
    def reach_words(self) -> str:
        return far_text(self.gauge.reach_m, self.units) or ""

    @property
    def missing(self) -> int:
        return sum(one.kind == ReadingKind.MISSING for one in self.readings)

    @property
    def peak_15min_um(self) -> float | None:
        return _most(part.peak_15min_um for part in self.parts)

    @property
    def peak_60min_um(self) -> float | None:
        return _most(part.peak_60min_um for part in self.parts)

    @property
    def dry_before_words(self) -> str:
        """How long it had been without rain before this storm, in whole days where only days are known; "" where that is not
        known."""
        dry_s = self.parts[0].dry_before_s if self.parts else None
        if dry_s is None:
            return ""
        if not self.parts[0].coarse:
            return hours_text(dry_s / HOUR_S) or ""
        days = dry_s // DAY_S
        if not days:
            return _("less than a day")
        return ngettext("%s day", "%s days", days) % days

    @property
    def total(self) -> Reading | None:
        """The longest wet reading of several days, of which nobody knows how much fell in this storm."""
        wet = (one for one in self.readings if one.depth_um)
        longest = max(wet, key=lambda one: one.end_s - one.start_s, default=None)
        return longest if longest and longest.end_s - longest.start_s > LONGEST_DAY_S else None

    @property
    def total_words(self) -> str:
        total = self.total
        if total is None:
            return ""
        days = round((total.end_s - total.start_s) / DAY_S)
        return ngettext("a total of %s day", "a total of %s days", days) % days

    @property
    def notes(self) -> list[str]:
        """What else there is to say of it."""
        said = []
        if self.why_out:
            said.append(_("left out: %s") % self.why_out)
        if self.place is None:
            said.append(_("nobody wrote down where it stands"))
        if self.too_far:
            said.append(
                _("too far from every site to speak for one: the nearest is %s away")
                % far_text(self.nearest_m, self.units)
            )
            if self.share is None and not self.why_out:
                said.append(_("beyond the map, so not in its mean"))
        if self.depth_um == 0:
            said.append(_("stayed dry"))
        total = self.total
        if total:
            said.append(
                _("%(total)s, %(from)s to %(until)s: some of it may have fallen before or after this storm")
                % {
                    "total": self.total_words,
                    "from": moment_text(instant(total.start_s)),
                    "until": moment_text(instant(total.end_s)),
                }
            )  # fmt: skip
        elif self.coarse:
            said.append(_("read once a day"))
        if self.missing:
            said.append(
                ngettext("one reading is missing", "%(n)s readings are missing", self.missing)
                % {"n": self.missing}
            )
        if self.representative:
            said.append(_("fit for sampling"))
        return said

    @property
    def representative(self) -> bool:
        return any(part.representative for part in self.parts)

    @property
    def coarse(self) -> bool:
        return any(part.coarse for part in self.parts)


def _most(depths: Iterable[float | None]) -> float | None:
    return max((depth for depth in depths if depth is not None), default=None)


def gauge_records(storm: Storm, rows: Sequence[SiteNeed], *, program: Program) -> list[GaugeRecord]:
    """Every gauge that measured the storm, counts at one of its sites, was left out there, or says that it stayed dry.

    The deepest first, those that were left out last. Six queries, however many gauges and sites, and a few for each gauge that is
    too far from every site.
    """
    day = last_day(storm.end_s, program.tz)
    parts: dict[int, list[GaugeStorm]] = defaultdict(list)
    for part in GaugeStorm.objects.with_representative().filter(storm=storm).order_by("start_s"):
        parts[part.gauge_id].append(part)
    sourced = {one["gauge"]: one["depth_um"] for row in rows for one in row.rain.sources}
    left_out = {one["gauge"]: one["why"] for row in rows for one in row.rain.left_out}
    named = {*sourced, *left_out}
    gauges = list(
        Gauge.objects.filter(
            Q(pk__in=parts) | Q(code__in=named) | Q(pk__in=Gauge.objects.active(on=day))
        ).prefetch_related("places")
    )
    for gauge in gauges:
        for part in parts[gauge.pk]:
            part.gauge = gauge
    readings = _readings(storm, gauges, parts)
    records = []
    for gauge in gauges:
        place = gauge.place(on=day) if gauge.places.all() else None
        record = GaugeRecord(
            gauge=gauge,
            units=program.units,
            place=place,
            parts=parts[gauge.pk],
            readings=readings[gauge.pk],
            depth_um=_depth(parts[gauge.pk], sourced.get(gauge.code)),
            why_out=left_out.get(gauge.code, ""),
            nearest_m=_nearest_m(place, rows),
        )
        if gauge.code in named or _speaks(record, storm):
            records.append(record)
    _compare(records, program)
    return sorted(
        records, key=lambda one: (bool(one.why_out), -(one.depth_um or 0), one.gauge.code)
    )


def _depth(parts: list[GaugeStorm], sourced_um: int | None) -> int | None:
    return sum(part.depth_um for part in parts) if parts else sourced_um


def _speaks(record: GaugeRecord, storm: Storm) -> bool:
    """Whether a gauge that no site names has a place on the page; says why it was left out or that it stayed dry."""
    if record.too_far:
        must_s = must_be_known_s(storm.start_s, storm.end_s, coarse=storm.coarse)
        known = known_times(record.gauge, outages_of(record.gauge), *must_s)
        complete = known.complete(*must_s)
        if record.parts:
            record.why_out = "" if complete else known.why_not(*must_s)
            return True
        # Dry and far off, it is shown only if it stands on the map.
        record.depth_um = 0
        return complete
    if record.parts:
        if record.missing and record.nearest_m is None:
            record.why_out = ngettext(
                "one reading is missing", "%(n)s readings are missing", record.missing
            ) % {"n": record.missing}
        return True
    # What is silent may as well be missing: only readings that say so make it dry.
    if record.nearest_m is not None and record.readings and not record.missing:
        record.depth_um = 0
        return True
    return False


def _nearest_m(place: GaugePlace | None, rows: Sequence[SiteNeed]) -> float | None:
    sites = [row.rain.site for row in rows if row.rain.site.has_place]
    if not sites or place is None:
        return None
    away_m = haversine_m(
        [site.lat for site in sites], [site.lon for site in sites], place.lat, place.lon
    )
    return float(away_m.min())


def _readings(
    storm: Storm, gauges: list[Gauge], parts: dict[int, list[GaugeStorm]]
) -> dict[int, list[Reading]]:
    """Each gauge's readings of its part, of one without a part those of the whole storm. A daily reading may reach beyond it."""
    spans = {
        gauge.pk: (
            min((part.start_s for part in parts[gauge.pk]), default=storm.start_s),
            max((part.end_s for part in parts[gauge.pk]), default=storm.end_s),
        )
        for gauge in gauges
    }
    found: dict[int, list[Reading]] = defaultdict(list)
    if not spans:
        return found
    whole = min(start for start, _end in spans.values()), max(end for _s, end in spans.values())
    for one in Reading.objects.between(*whole).filter(gauge__in=spans).order_by("gauge", "start_s"):
        start_s, end_s = spans[one.gauge_id]
        if one.start_s < end_s and one.end_s > start_s:
            found[one.gauge_id].append(one)
    return found


def _compare(records: list[GaugeRecord], program: Program) -> None:
    """Says of each gauge how unusual its rain was, by its wettest part."""
    wettest = {
        record.gauge.pk: max(record.parts, key=lambda part: part.depth_um)
        for record in records
        if record.parts and record.place is not None
    }
    unusual = unusual_at_gauges(list(wettest.values()), zone=program.tz)
    for record in records:
        part = wettest.get(record.gauge.pk)
        record.unusual = unusual.get(part.pk) if part else None
