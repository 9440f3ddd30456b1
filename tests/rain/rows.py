"""Rows of the rain tables as a test wants them, right but for what it names."""

from datetime import date, datetime
from typing import Any

from stewardship.rain.choices import ReadingKind, Sureness
from stewardship.rain.models import (
    BasinWater,
    DeclaredRain,
    FrequencyTable,
    GaugeOutage,
    GaugePlace,
    GaugeStorm,
    GaugeToken,
    RainRule,
    ReaderLink,
    Reading,
    ReadingBatch,
    ReadingFile,
    ReadingFilePart,
    SiteRain,
    Storm,
    StormRevision,
    StormSearch,
    Suspicion,
)
from tests import factory

DAY = date(2026, 7, 14)


def gauge(**facts: Any) -> Any:
    return factory.make_gauge(**({"code": "G1"} | facts))


def reading(**facts: Any) -> Any:
    own = facts.pop("gauge", None) or factory.make_gauge()
    batch = ReadingBatch.objects.create(gauge=own, source="typed")
    usual = {"start_s": 0, "end_s": 900, "kind": ReadingKind.MEASURED, "depth_um": 254}
    return Reading.objects.create(gauge=own, batch=batch, **(usual | facts))


def storm(**facts: Any) -> Any:
    return Storm.objects.create(**({"start_s": 0, "end_s": 900, "greatest_um": 254} | facts))


def suspicion(times: int = 1, **facts: Any) -> None:
    usual = {"gauge": factory.make_gauge(), "kind": "stuck", "start_s": 0, "end_s": 900}
    for _n in range(times):
        Suspicion.objects.create(**(usual | facts))


def found_right(note: str) -> None:
    by = factory.make_user("coordinator")
    suspicion(
        set_aside_at=factory.at(DAY), set_aside_by=by, set_aside_end_s=900, set_aside_note=note
    )


def merged(withdrawn: bool) -> Any:
    return storm(
        merged_into=storm(), withdrawn_at=factory.at(DAY) if withdrawn else None, start_s=100
    )


def batch(times: int, sha256: str) -> None:
    own = factory.make_gauge()
    for _n in range(times):
        ReadingBatch.objects.create(gauge=own, source="file", sha256=sha256)


def site_rain(times: int = 1, **facts: Any) -> Any:
    site = factory.make_site("OAK-1")
    of = storm()
    usual = {"sureness": Sureness.MEASURED, "depth_um": 5, "storm_revision": 1}
    for _n in range(times):
        found = SiteRain.objects.create(storm=of, site=site, **(usual | facts))
    return found


def water(times: int = 1, **facts: Any) -> None:
    rain = site_rain()
    basin = factory.make_basin(rain.site)
    figures = dict.fromkeys(
        ("inflow_m3", "passed_by_m3", "soaked_m3", "spilled_m3", "greatest_depth_m"), 0.5
    )
    for _n in range(times):
        BasinWater.objects.create(site_rain=rain, basin=basin, **(figures | facts))


def part(times: int = 1, **facts: Any) -> None:
    own, of = factory.make_gauge(), storm()
    usual = {"start_s": 0, "end_s": 900, "depth_um": 254}
    for _n in range(times):
        GaugeStorm.objects.create(gauge=own, storm=of, **(usual | facts))


def places(*days: date) -> None:
    own = factory.make_gauge()
    for day in days:
        GaugePlace.objects.create(gauge=own, since=day, lat=1, lon=1)


def reading_file(**facts: Any) -> ReadingFile:
    return ReadingFile.objects.create(**({"name": "rain.csv", "size": 3, "sha256": "a"} | facts))


def finished_file(**facts: Any) -> ReadingFile:
    return reading_file(
        **({"confirmed_at": factory.at(DAY), "finished_at": factory.at(DAY)} | facts)
    )


def file_parts(*numbers: int) -> None:
    file = reading_file()
    for number in numbers:
        ReadingFilePart.objects.create(file=file, number=number, content=b"1")


def declared(*withdrawn: datetime | None, **facts: Any) -> None:
    site, of = factory.make_site("OAK-1"), storm()
    usual = {"depth_um": 254, "typed": "0.01 in", "reason": "Seen from the porch"}
    for at in withdrawn:
        DeclaredRain.objects.create(site=site, storm=of, withdrawn_at=at, **(usual | facts))


def outage(start_s: int, end_s: int | None) -> None:
    GaugeOutage.objects.create(gauge=factory.make_gauge(), start_s=start_s, end_s=end_s, why="-")


def revisions(*numbers: int) -> None:
    of = storm()
    for number in numbers:
        StormRevision.objects.create(
            storm=of, number=number, start_s=0, end_s=900, greatest_um=1, why="-"
        )


def rules(*withdrawn: datetime | None) -> None:
    for at in withdrawn:
        RainRule.objects.create(starts_on=DAY, withdrawn_at=at)


def search(**facts: Any) -> None:
    StormSearch.objects.create(**({"start_s": 0, "end_s": 9, "reached_s": 0, "why": "-"} | facts))


def tokens(*withdrawn: datetime | None) -> None:
    own = factory.make_gauge()
    for n, at in enumerate(withdrawn):
        GaugeToken.objects.create(gauge=own, digest=f"{n}", label="Yard", revoked_at=at)


def links(*withdrawn: datetime | None) -> None:
    own, reader = factory.make_gauge(), factory.make_person()
    for n, at in enumerate(withdrawn):
        ReaderLink.objects.create(gauge=own, person=reader, digest=f"{n}", revoked_at=at)


def came(source: str, *, link: bool = False, login: bool = False, token: bool = False) -> None:
    own = factory.make_gauge()
    ReadingBatch.objects.create(
        gauge=own,
        source=source,
        by=factory.make_user("reader") if login else None,
        by_person=factory.make_person() if link else None,
        token=GaugeToken.objects.create(gauge=own, digest="1", label="Yard") if token else None,
    )


def undone(**facts: Any) -> None:
    ReadingBatch.objects.create(gauge=factory.make_gauge(), source="file", **facts)


def frequencies(*ended: datetime | None, **facts: Any) -> None:
    usual = {"name": "Palo Azul", "source": "Made up", "lat": 34.5, "lon": -106.2}
    usual |= {"series": "partial", "table": {}, "text": "", "at": factory.at(DAY)}
    for at in ended:
        FrequencyTable.objects.create(ended_at=at, **(usual | facts))
