"""Rows for tests: plain functions with fixed data, nothing random. Names, streets and numbers are invented.

Depths are given in inches, as gauge readers write them, and stored as micrometres (1 in = 25 400 µm exactly).
Moments are aware; a naive wall-clock time of the program goes through `at()`.
"""

import hashlib
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from people.choices import AgencyKind, Channel, ContactKind, Language, Role, Units
from people.models import Agency, ContactPoint, Membership, Person, Program, User, Volunteer
from sites.choices import InletKind, SourceClass, Stage
from sites.models import Basin, Inlet, Planting, SedimentTrap, Site
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DocumentKind,
    InstrumentKind,
    ResponsibilityRole,
    SigningMethod,
)
from stewardship.agreements.models import (
    Agreement,
    Document,
    Party,
    Responsibility,
    Signature,
    Wording,
)
from stewardship.care.choices import DutyState, Evidence, Judgement, Outcome, Trigger
from stewardship.care.models import CareRule, CleanOut, Duty, Finding, HandOnStep, Visit
from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind, Sureness
from stewardship.rain.models import (
    BasinWater,
    FrequencyTable,
    Gauge,
    GaugePlace,
    GaugeStorm,
    Reading,
    ReadingBatch,
    SiteRain,
    Storm,
    StormRevision,
)
from stewardship.rain.services import keep_frequencies
from tests.frequency_files import table_file

ZONE = ZoneInfo("America/Denver")
TODAY = date(2026, 7, 15)  # a Wednesday; conftest freezes it where a test asks for `frozen_day`
QUARTER = timedelta(minutes=15)
UM_PER_INCH = 25_400
PASSWORD = "rain-on-clay-9"
LAT, LON = 34.5210, -106.2440  # open range; the town there is invented


def at(day: date, clock: str = "12:00") -> datetime:
    """A moment of the program's wall clock: at(date(2026, 7, 14), "16:30")."""
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZONE)


def um(inches: float) -> int:
    return round(inches * UM_PER_INCH)


def seconds(moment: datetime) -> int:
    return int(moment.timestamp())


# -- who ------------------------------------------------------------------------------------------------------
def make_program(**changes) -> Program:
    facts = {
        "name": "Palo Azul Basin Keepers",
        "town": "Palo Azul",
        "zone": ZONE.key,
        "units": Units.US,
        "phone": "505-555-0100",
        "email": "keepers@example.org",
        "postal_address": "12 Mesquite Row\nPalo Azul, NM 87000",
    }
    return Program.objects.update_or_create(pk=1, defaults=facts | changes)[0]


def make_agency(
    code: str = "streets", name: str = "Streets Department", kind: str = AgencyKind.STREETS
) -> Agency:
    return Agency.objects.create(code=code, name=name, kind=kind)


def make_person(
    given_name: str = "Ines",
    family_name: str = "Quist",
    *,
    email: str = "",
    phone: str = "",
    postal: str = "",
    channel: str = Channel.EMAIL,
    language: str = Language.EN,
    **fields,
) -> Person:
    """A person with the contact points that are named; none are made up."""
    person = Person.objects.create(
        given_name=given_name, family_name=family_name, channel=channel, language=language, **fields
    )
    for kind, value in (
        (ContactKind.EMAIL, email),
        (ContactKind.PHONE, phone),
        (ContactKind.POSTAL, postal),
    ):
        if value:
            point = ContactPoint.objects.filter(
                kind=kind, normal=ContactPoint.normalise(kind, value)
            ).first() or ContactPoint.objects.create(kind=kind, value=value)
            point.people.add(person)
    return person


def make_user(
    role: str | None = None,
    agency: Agency | None = None,
    *,
    email: str = "",
    name: str = "",
    person: Person | None = None,
    password: str = PASSWORD,
    **fields,
) -> User:
    """A log-in with one role, or with none."""
    email = email or f"{role or 'stranger'}{'-' + agency.code if agency else ''}@example.org"
    user = User.objects.create_user(email, password, name=name, person=person, **fields)
    if role:
        Membership.objects.create(
            user=user, role=role, agency=agency if role == Role.REVIEWER else None
        )
    return user


def make_volunteer(person: Person | None = None, **fields) -> Volunteer:
    person = person or make_person("Tomas", "Bell", email="tomas.bell@example.org")
    return Volunteer.objects.create(
        person=person,
        joined_on=fields.pop("joined_on", date(2025, 3, 1)),
        waiver_until=fields.pop("waiver_until", date(2027, 3, 1)),
        **fields,
    )


# -- where ----------------------------------------------------------------------------------------------------
def make_site(code: str = "OAK-1", *, stage: str = Stage.PROPOSED, **fields) -> Site:
    """A site that is not built; built ones come from `make_built_site`."""
    number = code.rsplit("-", 1)[-1]
    facts = {
        "street": "Saltbush Street",
        "address": f"{number}10 Saltbush Street",
        "lat": LAT,
        "lon": LON,
        "source_class": SourceClass.QUIET,
    }
    return Site.objects.create(code=code, stage=stage, **(facts | fields))


def make_basin(site: Site, label: str = "A", *, plants: bool = True, **fields) -> Basin:
    """A basin with a curb cut, a sediment trap in it, and two kinds of plants.

    The trap is 18 × 12 in and 12 in deep, its lip 2.5 in under the inlet bottom (common practice, no source).
    """
    facts = {
        "bottom_area_m2": 3.0,
        "top_area_m2": 6.0,
        "depth_m": 0.2,
        "soak_mm_h": 40.0,
        "paved_m2": 90.0,
        "planted_catchment_m2": 20.0,
    }
    basin = Basin.objects.create(site=site, label=label, **(facts | fields))
    inlet = Inlet.objects.create(basin=basin, kind=InletKind.CURB_CUT, width_m=0.45, height_m=0.15)
    SedimentTrap.objects.create(
        inlet=inlet, length_m=0.4572, width_m=0.3048, depth_m=0.3048, lip_below_inlet_m=0.0635
    )
    if plants:
        day = date(2026, 5, 1)
        Planting.objects.create(
            basin=basin, species="blue grama", count=12, height_m=0.12, measured_on=day
        )
        Planting.objects.create(
            basin=basin, species="desert willow", count=1, height_m=1.6, measured_on=day
        )
    return basin


def make_agreement(
    sites: Iterable[Site],
    *,
    signers: Sequence[tuple[Person, str]],
    on: date,
    instrument: str = InstrumentKind.CARE_AGREEMENT,
    reference: str = "",
    agency: Agency | None = None,
    ends_on: date | None = None,
    responsible: Person | Agency | None = None,
) -> Agreement:
    """An agreement in force since `on`, signed by everybody in `signers` [(person, capacity)].

    The first signer (or `responsible`) does the work at every site from that day. `agency` is the one whose officer signs.
    """
    sites = list(sites)
    wording, _ = Wording.objects.get_or_create(
        instrument=instrument,
        language=Language.EN,
        version=1,
        defaults={
            "title": "Basin care agreement",
            "summary": "You keep the basin open to water.",
            "body": "Have counsel review.",
        },
    )
    agreement = Agreement.objects.create(
        reference=reference or f"A-{sites[0].code}-{on:%Y%m%d}",
        instrument=instrument,
        wording=wording,
        state=AgreementState.DRAFT,
    )
    agreement.sites.set(sites)
    content = b"%PDF-1.7 agreement " + agreement.reference.encode()
    document = Document.objects.create(
        agreement=agreement,
        kind=DocumentKind.TO_SIGN,
        version=1,
        file_name=f"{agreement.reference}.pdf",
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        pages=2,
        made_at=at(on, "09:00"),
    )
    for person, capacity in signers:
        party = Party.objects.create(
            agreement=agreement,
            person=person,
            capacity=capacity,
            agency=agency if capacity == Capacity.AGENCY_OFFICER else None,
        )
        Signature.objects.create(
            party=party,
            document=document,
            method=SigningMethod.PAPER,
            signed_on=on,
            typed_name=str(person),
            original_kept_at="Binder 1",
            recorded_at=at(on, "10:00"),
        )
    agreement.state, agreement.begins_on, agreement.ends_on = AgreementState.IN_FORCE, on, ends_on
    agreement.save()
    holder = responsible or signers[0][0]
    for site in sites:
        Responsibility.objects.create(
            site=site,
            role=ResponsibilityRole.DOES,
            agreement=agreement,
            starts_on=on,
            **{"agency" if isinstance(holder, Agency) else "person": holder},
        )
    return agreement


def make_built_site(
    code: str = "OAK-1",
    *,
    owner: Person | None = None,
    on: date = date(2025, 4, 1),
    built_on: date | None = None,
    basins: int = 1,
    **fields,
) -> Site:
    """A built site: care agreement signed by its owner and in force since `on`, basins accepted on `built_on` (default: `on`).

    The owner owes the work from `on`. Without `owner` one is made, reachable by e-mail.
    """
    built_on = built_on or on
    owner = owner or make_person("Ines", f"Quist {code}", email=f"owner-{code.lower()}@example.org")
    site = make_site(code, stage=Stage.AGREED, **fields)
    make_agreement([site], signers=[(owner, Capacity.OWNER)], on=on)
    for label in "ABCDEF"[:basins]:
        make_basin(site, label, phase_from=built_on)
    site.stage, site.built_on = Stage.BUILT, built_on
    site.save()
    return site


# -- rain -----------------------------------------------------------------------------------------------------
def make_gauge(code: str = "G1", *, kind: str = GaugeKind.INTERVAL, **fields) -> Gauge:
    place = {"lat": fields.pop("lat", LAT + 0.004), "lon": fields.pop("lon", LON)}
    facts = {
        "name": f"Gauge {code}",
        "started_on": date(2023, 1, 1),
        "observation_hour": 7 if kind == GaugeKind.DAILY else None,
    }
    gauge = Gauge.objects.create(code=code, kind=kind, **(facts | fields))
    GaugePlace.objects.create(gauge=gauge, since=gauge.started_on, **place)
    return gauge


def make_readings(
    gauge: Gauge,
    start: datetime,
    step: timedelta,
    depths_in: Sequence[float | str | None],
    *,
    found: bool = False,
) -> ReadingBatch:
    """Readings one after another from `start`: inches, "T" for a trace, None for missing. `found`: storms are found already."""
    start_s, step_s = seconds(start), int(step.total_seconds())
    batch = ReadingBatch.objects.create(
        gauge=gauge,
        source=BatchSource.TYPED,
        added=len(depths_in),
        touched_start_s=start_s,
        touched_end_s=start_s + step_s * len(depths_in),
        storms_found_at=start if found else None,
    )
    readings = []
    for n, depth in enumerate(depths_in):
        if depth is None:
            kind, depth_um = ReadingKind.MISSING, None
        elif depth == "T":
            kind, depth_um = ReadingKind.TRACE, 0
        else:
            kind = ReadingKind.MEASURED if depth else ReadingKind.ZERO
            depth_um = um(depth)
        readings.append(
            Reading(
                gauge=gauge,
                batch=batch,
                start_s=start_s + n * step_s,
                end_s=start_s + (n + 1) * step_s,
                kind=kind,
                depth_um=depth_um,
                typed="" if depth is None else str(depth),
            )
        )
    Reading.objects.bulk_create(readings)
    return batch


def make_storm(
    start: datetime,
    *,
    hours: float = 2,
    depth_in: float = 0.62,
    gauges: Iterable[Gauge] = (),
    **fields,
) -> Storm:
    """A storm with its first revision, and the same depth at each of `gauges`."""
    start_s = seconds(start)
    span = {"start_s": start_s, "end_s": start_s + int(hours * 3600)}
    storm = Storm.objects.create(**span, greatest_um=um(depth_in), **fields)
    StormRevision.objects.create(
        storm=storm, number=1, greatest_um=um(depth_in), why="First readings", **span
    )
    for gauge in gauges:
        GaugeStorm.objects.create(storm=storm, gauge=gauge, depth_um=um(depth_in), **span)
    return storm


def make_site_rain(
    storm: Storm,
    site: Site,
    *,
    depth_in: float | None = 0.62,
    sureness: str = Sureness.ESTIMATED,
    gauge: Gauge | None = None,
    weighed_at: datetime | None = None,
    water: dict | None = None,
) -> SiteRain:
    """What the storm was at the site; depth None is unknown. `water`: figures for every basin, e.g. {"hours_to_drain": 1.2}."""
    rain = SiteRain.objects.create(
        storm=storm,
        site=site,
        sureness=Sureness.UNKNOWN if depth_in is None else sureness,
        depth_um=None if depth_in is None else um(depth_in),
        sources=[{"gauge": gauge.code, "weight": 1.0, "distance_m": 445, "depth_um": um(depth_in)}]
        if gauge and depth_in is not None
        else [],
        storm_revision=storm.revision,
        weighed_at=weighed_at,
    )
    if water is not None:
        figures = {
            "inflow_m3": 1.2,
            "passed_by_m3": 0.1,
            "soaked_m3": 0.9,
            "spilled_m3": 0.3,
            "greatest_depth_m": 0.18,
            "hours_to_drain": 1.1,
        }
        for basin in site.basins.all():
            BasinWater.objects.create(site_rain=rain, basin=basin, **(figures | water))
    return rain


def make_frequency_table(text: str | None = None, *, name: str = "Palo Azul") -> FrequencyTable:
    """Published frequencies of rain, invented: 0.50 in an hour once a year, 0.70 in every two years, 1.00 in every five."""
    return keep_frequencies(text=text or table_file(), name=name, by=None)


# -- care -----------------------------------------------------------------------------------------------------
def make_care_rule(
    *,
    trigger: str = Trigger.AFTER_RAIN,
    phase: str = "settling_in",
    least_in: float = 0.25,
    every_days: int = 30,
    due_within_days: int = 5,
    starts_on: date = date(2023, 1, 1),
    **fields,
) -> CareRule:
    """In the place of the rule that a new installation starts with."""
    after_rain = trigger == Trigger.AFTER_RAIN
    CareRule.objects.filter(trigger=trigger, phase=phase, ends_on=None, duties=None).delete()
    return CareRule.objects.create(
        trigger=trigger,
        phase=phase,
        least_depth_um=um(least_in) if after_rain else None,
        every_days=None if after_rain else every_days,
        due_within_days=due_within_days,
        starts_on=starts_on,
        **fields,
    )


def make_hand_on(action: str, after_days: int, starts_on: date = date(2023, 1, 1)) -> HandOnStep:
    HandOnStep.objects.filter(action=action, ends_on=None).delete()
    return HandOnStep.objects.create(action=action, after_days=after_days, starts_on=starts_on)


def make_duty(
    site: Site,
    *,
    opened_on: date = date(2026, 7, 14),
    due_on: date | None = None,
    trigger: str = Trigger.AFTER_RAIN,
    storms: Iterable[Storm] = (),
    state: str = DutyState.OPEN,
    closed_on: date | None = None,
    **fields,
) -> Duty:
    """A duty, owed by whoever does the work at the site on the day it opened (nobody, if nobody does)."""
    if "owed_by" not in fields:
        fields["owed_by"] = (
            Responsibility.objects.as_of(opened_on)
            .filter(site=site, role=ResponsibilityRole.DOES)
            .first()
        )
    fields.setdefault(
        "reason",
        {"rains": [{"day": opened_on.isoformat(), "depth_um": um(0.62), "sources": []}]},
    )
    duty = Duty.objects.create(
        site=site,
        trigger=trigger,
        opened_on=opened_on,
        due_on=due_on or opened_on + timedelta(days=5),
        state=state,
        closed_on=closed_on,
        **fields,
    )
    duty.storms.set(storms)
    return duty


def make_visit(
    site: Site,
    happened_on: date,
    *,
    findings: Iterable[tuple[str, str]] = (),
    litres: float | None = None,
    evidence: str = Evidence.REPORTED,
    outcome: str = Outcome.DONE,
    **fields,
) -> Visit:
    """A visit with findings [(item, judgement)] and, with `litres`, silt out of the first trap."""
    fields.setdefault("entered_at", at(happened_on, "18:00"))
    visit = Visit.objects.create(
        site=site, happened_on=happened_on, evidence=evidence, outcome=outcome, **fields
    )
    for item, judgement in findings:
        Finding.objects.create(visit=visit, item=item, judgement=Judgement(judgement))
    if litres:
        trap = SedimentTrap.objects.filter(inlet__basin__site=site).order_by("pk").first()
        CleanOut.objects.create(visit=visit, trap=trap, litres=litres)
    return visit


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)
