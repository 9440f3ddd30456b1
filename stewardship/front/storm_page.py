"""The page of a storm, put together."""

from typing import Any

from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.written import far_text, least_shown_um
from stewardship.front.storm_area import storm_area
from stewardship.front.storm_at_sites import by_site, reaches
from stewardship.front.storm_gauges import GaugeRecord, gauge_records
from stewardship.front.storm_hours import draw_hours
from stewardship.front.storm_map import storm_map
from stewardship.front.storm_sites import sites_by_need, sure_of
from stewardship.front.storms import revisions, storm_days, storm_in_short
from stewardship.hydrology.unusual import quoted
from stewardship.rain.models import Storm
from stewardship.rain.reckoning.spreading import (
    MEASURED_NEARLY_M,
    MEASURED_SHARE,
    MEASURED_WITHIN_M,
)


def storm_page(storm: Storm, *, program: Program) -> dict[str, Any]:
    """What the template `front/storm.html` shows."""
    units = program.units
    heading = _("Storm of %s") % storm_days(storm, program=program)
    rows = sites_by_need(storm, program=program)
    records = gauge_records(storm, rows, program=program)
    area = storm_area(rows, records)
    # A far gauge that stayed dry and stands on no map has nothing to do with the storm.
    records = [one for one in records if one.parts or one.share is not None or not one.too_far]
    draw_hours(records, program)
    at_sites = by_site(rows, records, units=units)
    rarest = _rarest(records)
    wet = [row for row in rows if (row.rain.depth_um or 0) >= least_shown_um(units)]
    return {
        "storm": storm,
        "heading": heading,
        "short": storm_in_short(storm),
        "rows": rows,
        "needing": [row for row in rows if row.need != "none"],
        "quiet": [row for row in rows if row.need == "none"],
        "by_site": at_sites,
        "sure": sure_of(rows),
        "records": records,
        "left_out": [one for one in records if one.why_out],
        "reaches": reaches([one for one in records if one.depth_um is not None]),
        "deepest": max(
            (one for one in records if one.parts and not one.why_out),
            key=lambda one: one.depth_um,
            default=None,
        ),
        "mean_um": area.mean_um if area else None,
        "mean_at_most": any(one.share and one.total for one in records),
        "any_possible": any(row.rain.sureness == "possible" for row in rows),
        "map": storm_map(area, rows, records, title=heading, units=units) if area else None,
        "seldom": [one for one in records if one.parts and not one.svg],
        "any_parts": any(one.parts for one in records),
        "any_drawn": any(one.svg for one in records),
        "near": far_text(MEASURED_WITHIN_M, units),
        "nearly": far_text(MEASURED_NEARLY_M, units),
        "share": round(100 * MEASURED_SHARE),
        "any_representative": any(one.representative for one in records),
        "any_unusual": any(one.unusual for one in records),
        "any_unusual_site": any(row.unusual and reached(row.unusual) for row in wet),
        "rarest": rarest,
        "rare": bool(rarest and reached(rarest.unusual)),
        "revisions": revisions(storm),
        "questions": storm.rain_questions.open().select_related("site"),
    }


def reached(unusual: Any) -> bool:
    """Whether any published depth is reached."""
    return any(one.over_years is not None for one in unusual.brackets)


def _rarest(records: list[GaugeRecord]) -> GaugeRecord | None:
    """The gauge where it was most unusual, if there is one that knows the whole storm one of those."""
    compared = [one for one in records if one.unusual]
    return max(
        [one for one in compared if not one.why_out] or compared,
        key=lambda one: (quoted(one.unusual.brackets).rank, one.depth_um or 0),
        default=None,
    )
