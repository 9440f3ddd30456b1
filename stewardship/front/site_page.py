"""Everything about one site for the coordinator: who, what is due, what happened, rain and water, what stands there."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time

from django.db.models import Prefetch, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from sites.choices import Stage
from sites.models import Basin, Inlet, SedimentTrap, Site, SiteEvent
from stewardship.agreements.chain import Chain, site_chain
from stewardship.agreements.lacks import lacking_words
from stewardship.agreements.models import (
    Agreement,
    Dispute,
    Pause,
    Responsibility,
    RestorationClaim,
)
from stewardship.agreements.standing import build_blockers
from stewardship.care.models import Answer, CleanOut, Duty, Finding, FlowReport, Reminder, Visit
from stewardship.care.site_facts import latest_measures
from stewardship.care.words import reason_text
from stewardship.common.drawing import basin_section_svg
from stewardship.front.storm_sites import declared_text
from stewardship.hydrology.spread import flat_grid_m, haversine_m
from stewardship.rain.choices import Sureness
from stewardship.rain.models import BasinWater, DeclaredRain, Gauge, GaugePlace, SiteRain

#: Usual basins drain in about an hour after the rain ends. Common practice, no source. [h]
USUAL_DRAIN_H = 1
#: The program's limit; published outer limits run from 24 h at acceptance (TRCA construction checklist) to 96 h against
#: mosquitoes (California Department of Public Health, 2010). [h]
LIMIT_DRAIN_H = 24
#: Lip below the inlet bottom that is drawn where no trap is written down: 2.5 in. Common practice, no source. [m]
USUAL_LIP_M = 0.0635
#: How many of the newest happenings, storms and past duties a site page shows.
SHOWN = 25
STORMS_SHOWN = 5


@dataclass(frozen=True)
class Happening:
    """Something that happened: `kind` is "visit", "answer", "told", "ran", "declared" or "site"; `row` the record itself."""

    at: datetime
    day: date
    kind: str
    row: Visit | Answer | Reminder | FlowReport | DeclaredRain | SiteEvent


@dataclass(frozen=True)
class DueDuty:
    duty: Duty
    why: str
    is_late: bool


@dataclass(frozen=True)
class WaterLine:
    """One basin's water in one storm, and how its draining compares. Volumes in m³, depth in m, time in h."""

    water: BasinWater
    drained: str


@dataclass(frozen=True)
class RainLine:
    rain: SiteRain
    day: date
    waters: list[WaterLine]
    declared: str


@dataclass(frozen=True)
class GaugeNear:
    gauge: Gauge
    place: GaugePlace
    distance_m: float
    in_reach: bool


@dataclass(frozen=True)
class BasinView:
    """A basin with its newest trap measure and its highest water, ready for the drawing."""

    basin: Basin
    trap: SedimentTrap | None
    drop_m: float | None
    measured_on: date | None
    cleaned: CleanOut | None
    highest: BasinWater | None

    @property
    def cleaned_m3(self) -> float | None:
        return self.cleaned.litres / 1000 if self.cleaned else None

    def svg(self, units: str) -> str:
        """The drawing in section."""
        return basin_section_svg(
            depth_at_lip_m=self.basin.depth_m,
            lip_below_inlet_m=self.trap.lip_below_inlet_m if self.trap else USUAL_LIP_M,
            water_depth_m=self.highest.greatest_depth_m if self.highest else None,
            trap_drop_m=self.drop_m,
            trap_depth_m=self.trap.depth_m if self.trap else None,
            plant_heights_m=[plant.height_m for plant in self.basin.plantings.all()],
            units=units,
        )


@dataclass
class SitePage:
    site: Site
    held: list[Responsibility]
    chain: list[Responsibility]
    due: list[DueDuty]
    happenings: list[Happening]
    rains: list[RainLine]
    basins: list[BasinView]
    agreements: list[tuple[Agreement, str]]
    gauges: list[GaugeNear]
    blockers: list[str] = field(default_factory=list)
    #: disputes that stand or were settled, newest first; pauses that hold or are to come
    disputes: list[Dispute] = field(default_factory=list)
    pauses: list[Pause] = field(default_factory=list)
    claims: list[RestorationClaim] = field(default_factory=list)
    timeline: Chain | None = None


def site_page(site: Site, *, program: Program, on: date) -> SitePage:
    """The page as of today, with the responsibilities that hold or held on `on`."""
    today = program.today()
    chain = list(Responsibility.objects.for_site(site))
    as_of = set(Responsibility.objects.as_of(on).filter(site=site).values_list("pk", flat=True))
    rains = list(_rains(site))
    agreements = site.agreements.with_signing().order_by("-created_at")
    disputes = list(site.disputes.select_related("person"))
    pauses = list(site.pauses.select_related("person", "cover").order_by("starts_on", "pk"))
    return SitePage(
        site=site,
        held=[held for held in chain if held.pk in as_of],
        chain=chain,
        due=[
            DueDuty(
                duty,
                reason_text(duty.reason, program.units),
                duty.due_on < today and duty.disputed_since is None,
            )
            for duty in Duty.objects.open()
            .filter(site=site)
            .select_related("owed_by__person", "owed_by__agency", "owed_by__organisation")
            .with_latest()
        ],
        happenings=sorted(_happenings(site), key=lambda what: what.at, reverse=True)[:SHOWN],
        rains=_rain_lines(site, rains, program),
        basins=_basins(site, rains),
        agreements=[(agreement, lacking_words(agreement, on=today)) for agreement in agreements],
        gauges=_gauges(site, today),
        disputes=disputes,
        pauses=[pause for pause in pauses if not pause.ends_on or pause.ends_on > today],
        claims=list(site.restoration_claims.all()),
        timeline=site_chain(site, chain, on=on, today=today, pauses=pauses, disputes=disputes),
        blockers=[]
        if site.stage in (Stage.BUILT, Stage.RETIRED)
        else build_blockers(site=site, on=today),
    )


def _happenings(site: Site) -> Iterator[Happening]:
    for visit in (
        Visit.objects.filter(site=site)
        .select_related("done_by", "done_by_agency")
        .prefetch_related(
            Prefetch("findings", Finding.objects.select_related("basin")),
            Prefetch("clean_outs", CleanOut.objects.select_related("trap__inlet__basin__site")),
        )[:SHOWN]
    ):
        noon = timezone.make_aware(datetime.combine(visit.happened_on, time(12)))
        yield Happening(noon, visit.happened_on, "visit", visit)
    for answer in (  # one that came with a visit is told by the visit
        Answer.objects.filter(duty__site=site, visit__isnull=True)
        .select_related("person", "agent")
        .order_by("-at")[:SHOWN]
    ):
        yield Happening(answer.at, _day(answer.at), "answer", answer)
    for reminder in (
        Reminder.objects.filter(duty__site=site)
        .select_related("person", "message")
        .defer("message__text", "message__html", "message__context")
        .order_by("-made_at")[:SHOWN]
    ):
        yield Happening(reminder.made_at, _day(reminder.made_at), "told", reminder)
    for report in (
        FlowReport.objects.filter(site=site)
        .select_related("person", "by", "decided_by")
        .order_by("-at")[:SHOWN]
    ):
        yield Happening(report.at, _day(report.at), "ran", report)
    for said in (
        DeclaredRain.objects.filter(site=site)
        .select_related("storm", "by", "withdrawn_by")
        .order_by("-at")[:SHOWN]
    ):
        yield Happening(said.at, _day(said.at), "declared", said)
    for event in SiteEvent.objects.filter(site=site).select_related("by").order_by("-at")[:SHOWN]:
        yield Happening(event.at, _day(event.at), "site", event)


def _day(moment: datetime) -> date:
    return timezone.localtime(moment).date()


def _rains(site: Site) -> QuerySet[SiteRain]:
    waters = BasinWater.objects.select_related("basin__site").order_by("basin__label")
    return (
        SiteRain.objects.filter(site=site, storm__withdrawn_at__isnull=True)
        .select_related("storm")
        .prefetch_related(Prefetch("waters", waters))
        .order_by("-storm__start_s")[:STORMS_SHOWN]
    )


def _rain_lines(site: Site, rains: list[SiteRain], program: Program) -> list[RainLine]:
    declared = DeclaredRain.objects.filter(site=site).of_storms([rain.storm for rain in rains])
    lines = []
    for rain in rains:
        said = declared.get((rain.storm_id, site.pk))
        lines.append(
            RainLine(
                rain,
                rain.storm.start_at.astimezone(program.tz).date(),
                [
                    WaterLine(water, drain_words(water.hours_to_drain))
                    for water in rain.waters.all()
                ],
                declared_text(said) if said else "",
            )
        )
    return lines


def drain_words(hours: float | None) -> str:
    """How a time to drain compares with the usual hour and the program's limit."""
    if hours is None:
        return _("not known")
    if hours <= USUAL_DRAIN_H * 1.5:
        return _("as usual")
    return _("slower than usual") if hours <= LIMIT_DRAIN_H else _("over the limit")


def _basins(site: Site, rains: list[SiteRain]) -> list[BasinView]:
    basins = list(
        site.basins.prefetch_related(
            Prefetch("inlets", Inlet.objects.select_related("trap").order_by("pk")), "plantings"
        )
    )
    measured = latest_measures(basins)
    cleaned: dict[int, CleanOut] = {}
    for clean_out in (
        CleanOut.objects.filter(visit__site=site)
        .select_related("visit", "trap__inlet")
        .order_by("visit__happened_on", "pk")
    ):
        cleaned[clean_out.trap.inlet.basin_id] = clean_out
    known = next((rain for rain in rains if rain.sureness != Sureness.UNKNOWN), None)
    highest = {water.basin_id: water for water in known.waters.all()} if known else {}
    views = []
    for basin in basins:
        traps = [inlet.trap for inlet in basin.inlets.all() if hasattr(inlet, "trap")]
        finding = measured.get(basin.pk)
        views.append(
            BasinView(
                basin,
                traps[0] if traps else None,
                finding.measured_m if finding else None,
                finding.visit.happened_on if finding else None,
                cleaned.get(basin.pk),
                highest.get(basin.pk),
            )
        )
    return views


def _gauges(site: Site, today: date) -> list[GaugeNear]:
    """Standing gauges, nearest first; none for a site without a place."""
    gauges = (
        list(Gauge.objects.active(on=today).prefetch_related("places")) if site.has_place else []
    )
    if not gauges:
        return []
    places = [gauge.place(on=today) for gauge in gauges]
    distances = haversine_m(site.lat, site.lon, [p.lat for p in places], [p.lon for p in places])
    near = [
        GaugeNear(gauge, place, float(distance), bool(distance <= gauge.reach_m))
        for gauge, place, distance in zip(gauges, places, distances, strict=True)
    ]
    return sorted(near, key=lambda one: one.distance_m)


#: Side of the little map. [drawing units]
MAP_SIDE = 300


@dataclass(frozen=True)
class MapPoint:
    x: float
    y: float
    label: str

    @property
    def anchor(self) -> str:
        """Its words stand on the side that has room."""
        return "start" if self.x < MAP_SIDE * 2 / 3 else "end"

    @property
    def label_x(self) -> float:
        return self.x + 10 if self.anchor == "start" else self.x - 10

    @property
    def label_y(self) -> float:
        return self.y + 4


@dataclass(frozen=True)
class LittleMap:
    """The site in the middle and the gauges around it, north up. `scale_m` is how long the scale bar of 60 units is."""

    gauges: list[MapPoint]
    scale_m: float


def little_map(site: Site, gauges: list[GaugeNear]) -> LittleMap | None:
    """Points for the drawing; None where nothing can be drawn."""
    shown = [near for near in gauges if near.in_reach] or gauges[:1]
    if not site.has_place or not shown:
        return None
    places_m = flat_grid_m(
        [near.place.lat for near in shown],
        [near.place.lon for near in shown],
        origin_lat=site.lat,
        origin_lon=site.lon,
    )
    farthest = max(float(abs(places_m).max()), 100)
    per_metre = (MAP_SIDE / 2 - 40) / farthest
    return LittleMap(
        [
            MapPoint(MAP_SIDE / 2 + x * per_metre, MAP_SIDE / 2 - y * per_metre, near.gauge.code)
            for near, (x, y) in zip(shown, places_m.tolist(), strict=True)
        ],
        60 / per_metre,
    )
