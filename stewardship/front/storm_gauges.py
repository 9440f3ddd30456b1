"""A storm at its gauges: who took part and who was left out, what each measured, its hours as a drawing and as a table."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from stewardship.common.charts import Bars, Scale, hyetograph
from stewardship.common.written import depth_text
from stewardship.front.storm_sites import SiteNeed
from stewardship.hydrology.spread import haversine_m
from stewardship.rain.choices import ReadingKind
from stewardship.rain.models import Gauge, GaugePlace, GaugeStorm, Reading, Storm, instant
from stewardship.rain.times import last_day
from stewardship.rain.unusual import Unusual, unusual_at_gauges

#: Fewer bars than this say nothing that the number beside them does not.
FEWEST_BARS = 3
#: Readings that one drawing shows; more are drawn in equal steps of several readings.
MOST_BARS = 288


@dataclass(frozen=True)
class Interval:
    """One line of the table beside a drawing: what a reading says for (start, end]."""

    start: datetime
    end: datetime
    reading: Reading


@dataclass
class GaugeRecord:
    """What a gauge measured of a storm. A long storm may have several parts of one gauge, with dry hours between them.

    place    where it stood then, None where nobody wrote it down
    depth_um what it measured, None where it has no part in the storm and was left out
    why_out  in words, why it does not speak for the sites; "" if it does
    too_far  from every site to speak for it
    share    of the map's area that is nearer to it than to other gauges, None if it does not count; `percent` the same in
             whole per cent, which add up to 100
    """

    gauge: Gauge
    place: GaugePlace | None
    parts: list[GaugeStorm]  # with `representative`, earliest first
    readings: list[Reading]
    depth_um: int | None
    why_out: str = ""
    too_far: bool = False
    percent: int | None = None
    share: float | None = None
    svg: str = ""
    unusual: Unusual | None = None
    intervals: list[Interval] = field(init=False)

    def __post_init__(self) -> None:
        self.intervals = [
            Interval(instant(one.start_s), instant(one.end_s), one) for one in self.readings
        ]

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
    def dry_before_h(self) -> float | None:
        """Time since it last had rain before this storm. [h]"""
        dry_s = self.parts[0].dry_before_s if self.parts else None
        return None if dry_s is None else dry_s / 3600

    @property
    def notes(self) -> list[str]:
        """What else there is to say of it."""
        said = []
        if self.why_out:
            said.append(_("left out: %s") % self.why_out)
        if self.place is None:
            said.append(_("nobody wrote down where it stands"))
        if self.depth_um == 0:
            said.append(_("stayed dry"))
        if self.coarse:
            said.append(_("daily totals"))
        if self.representative:
            said.append(_("a representative storm"))
        if self.missing:
            said.append(
                ngettext("one reading is missing", "%(n)s readings are missing", self.missing)
                % {"n": self.missing}
            )
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
    """Every gauge that measured the storm, counts at one of its sites, was left out there, or saw there that it stayed dry.

    The deepest first, those that were left out last. Six queries, however many gauges and sites.
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
            place=place,
            parts=parts[gauge.pk],
            readings=readings[gauge.pk],
            depth_um=_depth(parts[gauge.pk], sourced.get(gauge.code)),
            why_out=left_out.get(gauge.code, ""),
        )
        if gauge.code in named or _speaks(record, rows):
            records.append(record)
    _compare(records, program)
    _draw(records, program)
    return sorted(
        records, key=lambda one: (bool(one.why_out), -(one.depth_um or 0), one.gauge.code)
    )


def _depth(parts: list[GaugeStorm], sourced_um: int | None) -> int | None:
    return sum(part.depth_um for part in parts) if parts else sourced_um


def _speaks(record: GaugeRecord, rows: Sequence[SiteNeed]) -> bool:
    """Whether a gauge that no site names has a place on the page; says why it was left out or that it stayed dry."""
    near = _in_reach(record, rows)
    if record.parts:
        if near is False:
            record.too_far = True
            record.why_out = _("too far from every site to count")
        elif record.missing and near is None:
            record.why_out = ngettext(
                "one reading is missing", "%(n)s readings are missing", record.missing
            ) % {"n": record.missing}
        return True
    # What is silent may as well be missing: only readings that say so make it dry.
    if near and record.readings and not record.missing:
        record.depth_um = 0
        return True
    return False


def _in_reach(record: GaugeRecord, rows: Sequence[SiteNeed]) -> bool | None:
    """Whether a site is within the gauge's reach; None where no site or no gauge has a place."""
    sites = [row.rain.site for row in rows if row.rain.site.has_place]
    if not sites or record.place is None:
        return None
    away_m = haversine_m(
        [site.lat for site in sites],
        [site.lon for site in sites],
        record.place.lat,
        record.place.lon,
    )
    return bool(away_m.min() <= record.gauge.reach_m)


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


def _draw(records: list[GaugeRecord], program: Program) -> None:
    """Draws the gauges' hours, all on one scale; none of a gauge with few readings or without a part."""
    drawn = []
    for record in records:
        if record.parts:
            # silence of a gauge that reports only rain is dry; of any other it is a hole
            edges, depths = _steps(record.readings, between=None if record.gauge.lists_dry else 0.0)
            if len(depths) >= FEWEST_BARS:
                drawn.append((record, Bars(edges, depths)))
    if not drawn:
        return
    scale = Scale.holding(bars for _record, bars in drawn)
    for record, bars in drawn:
        record.svg = hyetograph(
            bars,
            scale=scale,
            title=_("Rain at %s") % record.gauge.name,
            description=_("%s in all.") % depth_text(record.depth_um, program.units),
            units=program.units,
            zone=program.zone,
        )


def _steps(
    readings: list[Reading], *, between: float | None
) -> tuple[list[datetime], list[float | None]]:
    """Edges and depths [mm] of at most `MOST_BARS` bars; a time between two readings is a bar of its own, `between` high."""
    edges: list[datetime] = []
    depths: list[float | None] = []
    bundle = -(-len(readings) // MOST_BARS) or 1
    for n in range(0, len(readings), bundle):
        some = readings[n : n + bundle]
        start = instant(some[0].start_s)
        if not edges:
            edges.append(start)
        elif start > edges[-1]:
            edges.append(start)
            depths.append(between)
        edges.append(instant(some[-1].end_s))
        known = [r.depth_um for r in some if r.depth_um is not None]
        depths.append(sum(known) / 1000 if known else None)
    return edges, depths
