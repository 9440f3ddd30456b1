"""How unusual a storm was at a gauge or a site, in words: between which published depths its greatest depths lie.

Never "a 2-year storm": what is said is said of one duration. Nothing is said where no table is near, or where readings are
too coarse to know how much fell in a time that the table has.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.common.written import number_text
from stewardship.hydrology.spread import haversine_m
from stewardship.hydrology.storms import WINDOWS_S
from stewardship.hydrology.unusual import (
    FIXED_TO_SLIDING,
    Bracket,
    Frequencies,
    Greatest,
    compare,
    quoted,
)
from stewardship.rain.choices import Sureness
from stewardship.rain.models import FrequencyTable, GaugeStorm, SiteRain
from stewardship.rain.services.frequency import SPEAKS_FOR_M
from stewardship.rain.times import DAY_S, HOUR_S, last_day

#: Years that a comparison shows at least, from the first on.
FEWEST_YEARS = 4
MINUTES_15_S = 900
#: [s] Who knows the rain within so short a time may call the whole storm small; daily readings hide a cloudburst. Ours, no source.
SHORT_S = MINUTES_15_S


@dataclass(frozen=True)
class Line:
    """One duration of a comparison: how much fell, the published depths, and the words."""

    duration: str
    greatest_um: int
    published: list[tuple[str, int]]  # heading of the year, depth in µm
    words: str


@dataclass(frozen=True)
class Unusual:
    """A storm's greatest depths at one place, beside a table. There is always at least one."""

    table: FrequencyTable
    brackets: tuple[Bracket, ...]

    def words(self) -> str:
        """Of the most unusual duration: "between a 1- and 2-year 60-minute rain". If all are below the first published depths
        "smaller than a 1-year rain", of the shortest duration alone where short bursts are not known."""
        one = quoted(self.brackets)
        form = _form(one)
        if form == "below" and self.brackets[0].duration_s > SHORT_S:
            one, form = self.brackets[0], "below within"
        table = self.table.frequencies
        return str(_PHRASES[table.annual][form]) % _figures(one, table)

    @property
    def years(self) -> list[str]:
        """Headings of the columns of published depths: up to one year more than any that is reached."""
        return year_headings(self.table.frequencies)[: self._columns]

    def lines(self) -> list[Line]:
        """By rising duration."""
        table = self.table.frequencies
        return [
            Line(
                duration=duration_text(one.duration_s),
                greatest_um=round(one.depth_um),
                published=list(zip(self.years, table.row_um(one.duration_s) or (), strict=False)),
                words=str(_IN_A_ROW[table.annual][_form(one)]) % _figures(one, table),
            )
            for one in self.brackets
        ]

    @property
    def at_least(self) -> bool:
        """Whether the words of any duration leave open that more may have fallen."""
        return any(_form(one) in ("least", "near") for one in self.brackets)

    @property
    def _columns(self) -> int:
        years = self.table.frequencies.years
        reached = (one.under_years or years[-1] for one in self.brackets)
        return max(FEWEST_YEARS, max(years.index(year) for year in reached) + 1)


def how_unusual(depths: Mapping[int, Greatest], *, table: FrequencyTable | None) -> Unusual | None:
    """Compare greatest depths, by duration in seconds, with a table. None where there is none, or it has no such duration."""
    if table is None:
        return None
    brackets = compare(table.frequencies, depths)
    return Unusual(table, brackets) if brackets else None


def unusual_at_gauges(parts: Sequence[GaugeStorm], *, zone: ZoneInfo) -> dict[int, Unusual]:
    """How unusual gauges' parts of storms were, by the part's key; parts of which nothing can be said are left out.

    Two queries, however many parts; `gauge` should be selected with them.
    """
    tables = Tables.load()
    if not tables.rows:
        return {}
    prefetch_related_objects([part.gauge for part in parts], "places")
    places = [part.gauge.place(on=last_day(part.end_s, zone)) for part in parts]
    nearest = tables.nearest([(place.lat, place.lon) for place in places])
    return _found(
        (part.pk, table, _of_part(part, table.frequencies))
        for part, table in zip(parts, nearest, strict=True)
        if table is not None
    )


def unusual_at_sites(rains: Sequence[SiteRain]) -> dict[int, Unusual]:
    """How unusual storms were at sites, by the site rain's key; those of which nothing can be said are left out.

    One query, however many; `site` and `storm` should be selected with them.
    """
    tables = Tables.load()
    if not tables.rows:
        return {}
    nearest = tables.nearest([(rain.site.lat, rain.site.lon) for rain in rains])
    return _found(
        (rain.pk, table, _of_site(rain, table.frequencies))
        for rain, table in zip(rains, nearest, strict=True)
        if table is not None
    )


def _found(
    rows: Iterable[tuple[int, FrequencyTable, Mapping[int, Greatest]]],
) -> dict[int, Unusual]:
    compared = ((key, how_unusual(depths, table=table)) for key, table, depths in rows)
    return {key: unusual for key, unusual in compared if unusual is not None}


@dataclass(frozen=True)
class Tables:
    """The tables that storms are compared with now."""

    rows: list[FrequencyTable]

    @classmethod
    def load(cls) -> "Tables":
        return cls(list(FrequencyTable.objects.standing().defer("text")))

    def nearest(
        self, places: Sequence[tuple[float | None, float | None]]
    ) -> list[FrequencyTable | None]:
        """The table that speaks for each place: the nearest within `SPEAKS_FOR_M`. For what has no place, the one table if
        there is only one."""
        only = self.rows[0] if len(self.rows) == 1 else None
        found: list[FrequencyTable | None] = [only] * len(places)
        known = [n for n, (lat, lon) in enumerate(places) if lat is not None and lon is not None]
        if not known or not self.rows:
            return found
        away_m = haversine_m(
            np.array([[places[n][0]] for n in known], dtype=np.float64),
            np.array([[places[n][1]] for n in known], dtype=np.float64),
            np.array([row.lat for row in self.rows]),
            np.array([row.lon for row in self.rows]),
        )
        for n, best, best_m in zip(known, away_m.argmin(axis=1), away_m.min(axis=1), strict=True):
            found[n] = self.rows[best] if best_m <= SPEAKS_FOR_M else None
        return found


def _of_part(part: GaugeStorm, table: Frequencies) -> dict[int, Greatest]:
    """The greatest depths of a gauge's part.

    The shortest window that is known holds one reading, unless it is the shortest of all: the clock, not the rain, cut it, so
    it was at least that, and no more than the whole rain of the part. Totals over more than an hour have only the window of a
    day; of those it is never sure that the days beside them were dry.
    """
    peaks = (
        part.peak_5min_um,
        part.peak_15min_um,
        part.peak_30min_um,
        part.peak_60min_um,
        part.peak_24h_um,
    )
    known = {w: um for w, um in zip(WINDOWS_S, peaks, strict=True) if um is not None}
    if part.coarse:
        return {
            window_s: Greatest(um, min(um * FIXED_TO_SLIDING, part.depth_um))
            for window_s, um in known.items()
        }
    depths = _with_cut(known, part.depth_um)
    return _whole(part.depth_um, part.end_s - part.start_s, table) | depths


def _of_site(rain: SiteRain, table: Frequencies) -> dict[int, Greatest]:
    """The greatest depths at a site: its peaks, and its whole rain in the shortest published time that holds the storm.

    Peaks are known where every gauge that counts there reads so often. Where only totals count, how long it rained is known
    only if the storm itself is made of totals; then the whole was at least that.
    """
    if not rain.depth_um:
        return {}
    length_s = rain.storm.end_s - rain.storm.start_s
    if rain.sureness == Sureness.DECLARED:
        return _whole(rain.depth_um, length_s, table)
    if rain.peak_60min_um is None:
        return _whole(rain.depth_um, length_s, table, total=True) if rain.storm.coarse else {}
    peaks = {MINUTES_15_S: rain.peak_15min_um, HOUR_S: rain.peak_60min_um}
    known = {window_s: um for window_s, um in peaks.items() if um is not None}
    return _whole(rain.depth_um, length_s, table) | _with_cut(known, rain.depth_um)


def _with_cut(known: Mapping[int, float], whole_um: int) -> dict[int, Greatest]:
    """Greatest depths by window, of which the shortest is cut by the clock if there is more rain beside it."""
    if not known:
        return {}
    shortest_s = min(known)
    cut = shortest_s > WINDOWS_S[0] and round(known[shortest_s]) < whole_um
    return {
        window_s: Greatest(
            um, min(um * FIXED_TO_SLIDING, whole_um) if cut and window_s == shortest_s else None
        )
        for window_s, um in known.items()
    }


def _whole(
    depth_um: int, length_s: int, table: Frequencies, *, total: bool = False
) -> dict[int, Greatest]:
    """A whole storm's depth, in the shortest published duration of an hour or more that it fits into."""
    duration_s = table.duration_from(max(length_s, DAY_S if total else HOUR_S))
    if duration_s is None:
        return {}
    return {duration_s: Greatest(depth_um, depth_um if total else None)}


# -- words ----------------------------------------------------------------------------------------------------
def duration_text(duration_s: int) -> str:
    """A duration as the heading of a row."""
    if duration_s <= HOUR_S:
        return _("%s min") % (duration_s // 60)
    if duration_s <= DAY_S:
        return _("%s h") % (duration_s // HOUR_S)
    return _("%s days") % (duration_s // DAY_S)


def _long(duration_s: int) -> str:
    """A duration as it stands before "rain"."""
    if duration_s <= HOUR_S:
        return _("%s-minute") % (duration_s // 60)
    if duration_s <= DAY_S:
        return _("%s-hour") % (duration_s // HOUR_S)
    return _("%s-day") % (duration_s // DAY_S)


def year_headings(table: Frequencies) -> list[str]:
    """ "2-year", or of annual maxima "1 in 2"."""
    form = _("1 in %s") if table.annual else _("%s-year")
    return [form % _year(year) for year in table.years]


def _year(year: float | None) -> str:
    return "" if year is None else number_text(year, 0 if year == int(year) else 1)


def _form(one: Bracket) -> str:
    if one.over_years is None:
        return "near" if one.near else "below"
    if one.under_years is None:
        return "beyond"
    return "least" if one.at_least else "between"


def _figures(one: Bracket, table: Frequencies) -> dict[str, str]:
    return {
        "first": _year(table.years[0]),
        "low": _year(one.over_years),
        "high": _year(one.under_years),
        "duration": _long(one.duration_s),
    }


#: What is said of a storm by one of its durations, by whether the years are those of annual maxima.
_PHRASES = {
    False: {
        "below": gettext_lazy("smaller than a %(first)s-year rain"),
        "below within": gettext_lazy("smaller than a %(first)s-year %(duration)s rain"),
        "near": gettext_lazy("close to a %(first)s-year %(duration)s rain"),
        "between": gettext_lazy("between a %(low)s- and %(high)s-year %(duration)s rain"),
        "least": gettext_lazy("at least a %(low)s-year %(duration)s rain"),
        "beyond": gettext_lazy("more than a %(low)s-year %(duration)s rain"),
    },
    True: {
        "below": gettext_lazy("smaller than a rain with a chance of 1 in %(first)s in any year"),
        "below within": gettext_lazy("smaller than a %(duration)s rain with a chance of 1 in %(first)s in any year"),
        "near": gettext_lazy("close to a %(duration)s rain with a chance of 1 in %(first)s in any year"),
        "between": gettext_lazy("a %(duration)s rain with a chance between 1 in %(high)s and 1 in %(low)s in any year"),
        "least": gettext_lazy("a %(duration)s rain with a chance of 1 in %(low)s or less in any year"),
        "beyond": gettext_lazy("a %(duration)s rain with a chance of less than 1 in %(low)s in any year"),
    },
}  # fmt: skip
#: The same where the duration stands beside it.
_IN_A_ROW = {
    False: {
        "below": gettext_lazy("smaller than a %(first)s-year rain"),
        "near": gettext_lazy("close to a %(first)s-year rain"),
        "between": gettext_lazy("between a %(low)s- and %(high)s-year rain"),
        "least": gettext_lazy("at least a %(low)s-year rain"),
        "beyond": gettext_lazy("more than a %(low)s-year rain"),
    },
    True: {
        "below": gettext_lazy("a chance of more than 1 in %(first)s"),
        "near": gettext_lazy("a chance of about 1 in %(first)s"),
        "between": gettext_lazy("a chance between 1 in %(high)s and 1 in %(low)s"),
        "least": gettext_lazy("a chance of 1 in %(low)s or less"),
        "beyond": gettext_lazy("a chance of less than 1 in %(low)s"),
    },
}
