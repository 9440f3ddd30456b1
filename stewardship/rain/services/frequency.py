"""Tables of published rain frequencies: understood, kept, replaced, withdrawn."""

import numpy as np
from django.db import transaction
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program, User
from sites.models import Site
from stewardship.common.errors import Refused
from stewardship.common.written import length_text
from stewardship.hydrology.frequency_file import (
    Fault,
    PublishedTable,
    UnreadableTable,
    read_published_table,
)
from stewardship.hydrology.spread import haversine_m
from stewardship.rain.models import FrequencyTable, GaugePlace

#: A file of one point with its bounds has some 8 kB.
MOST_BYTES = 100_000
#: [m] Storms this near are compared with a table. Heavy rain differs little over a town and a lot over a mountain range; ours,
#: no source.
SPEAKS_FOR_M = 40_000
#: [m] Two tables this near are of the same place: the published estimates stand on a grid of 30 arc-seconds, some 900 m
#: (NOAA Atlas 14, from memory).
SAME_PLACE_M = 1_000

_BINARY = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"%PDF", b"\x89PNG", b"\xff\xd8")
_FAULTS: dict[Fault, Promise] = {
    Fault.EMPTY: gettext_lazy("The file is empty."),
    Fault.WEB_PAGE: gettext_lazy("The file is a web page, not the table itself. Save the CSV that the page offers."),
    Fault.OUTSIDE: gettext_lazy("The file says that NOAA Atlas 14 does not cover that place; there is no table in it."),
    Fault.OTHER: gettext_lazy("This is no table of rain frequencies as NOAA Atlas 14 gives them for one point: its first lines do not say so."),
    Fault.UNIT: gettext_lazy("The first lines do not make clear whether the depths are in inches or millimetres, or per hour (“%(what)s”)."),
    Fault.PLACE: gettext_lazy("The lines Latitude and Longitude do not say where the table is for (“%(what)s”)."),
    Fault.BOUND: gettext_lazy("The file holds a bound of the estimates (“%(what)s”), not the estimates themselves."),
    Fault.HEADING: gettext_lazy("The table’s heading with the years is missing."),
    Fault.ROW: gettext_lazy("Line %(line)s: “%(what)s” is no duration of the table, or it stands there out of turn."),
    Fault.SHORT: gettext_lazy("Line %(line)s: “%(what)s” does not have one depth for each of the years. Was the file cut off?"),
    Fault.NUMBER: gettext_lazy("Line %(line)s: “%(what)s” is not a depth."),
    Fault.ORDER: gettext_lazy("Line %(line)s: a rarer rain, or a longer one, cannot be smaller. Was the file changed?"),
    Fault.MISSING: gettext_lazy("The row “%(what)s” is missing. Was the file cut off?"),
    Fault.ROUGH: gettext_lazy("The table has nothing but zeros, or is rounded too roughly to tell years apart."),
}  # fmt: skip
_BAD_YEARS = gettext_lazy("Line %(line)s: “%(what)s” in the heading is no number of years.")


def understand_frequencies(text: str) -> PublishedTable:
    """Read a file of point precipitation frequencies; nothing is written.

    Raises
    ------
    Refused
        It is anything else, or incomplete, or contradicts itself.
    """
    if len(text) > MOST_BYTES:
        raise Refused(_("The file is far larger than the table of one point. Save that of one place only."))  # fmt: skip
    try:
        return read_published_table(text)
    except UnreadableTable as fault:
        bad_years = fault.fault == Fault.HEADING and fault.line
        sentence = _BAD_YEARS if bad_years else _FAULTS[fault.fault]
        # What a stranger's file says is shown, but not at length.
        said = {"line": fault.line, "what": fault.what[:60] or "–"}
        raise Refused(str(sentence) % said) from None


def frequency_text(content: bytes) -> str:
    """The text of an uploaded file. Refuses what is none."""
    wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    if content.startswith(_BINARY) or (b"\x00" in content and not wide):
        raise Refused(_("The file is a spreadsheet, a picture or a PDF, not text. Save the table as CSV."))  # fmt: skip
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise Refused(_("The file is not readable as text. Save the table as CSV."))


@transaction.atomic
def keep_frequencies(*, text: str, name: str, by: User | None) -> FrequencyTable:
    """Compare storms near a place with this table from now on; it replaces the one of the same place.

    Raises
    ------
    Refused
        The text is no such table, the place has no name, the table stands already, or it is for a place far from here.
    """
    list(Program.objects.select_for_update())  # two at once would both find nothing to replace
    if not name.strip():
        raise Refused(_("Say for which place the table is."))
    found = understand_frequencies(text)
    refuse_far(found)
    kept = FrequencyTable.kept(found.frequencies)
    old = [
        table
        for table in FrequencyTable.objects.standing()
        if haversine_m(table.lat, table.lon, found.lat, found.lon) <= SAME_PLACE_M
    ]
    for table in old:
        same = {"series": table.series, "table": table.table} == kept
        if same and (table.name, table.source) == (name.strip(), found.source):
            raise Refused(_("This table is in the book already."))
    now = timezone.now()
    for table in old:
        table.ended_at, table.ended_by = now, by
        table.save(update_fields=["ended_at", "ended_by"])
    new = FrequencyTable.objects.create(
        name=name.strip(),
        lat=found.lat,
        lon=found.lon,
        source=found.source[:200],
        text=text,
        at=now,
        by=by,
        **kept,
    )
    FrequencyTable.objects.filter(pk__in=[table.pk for table in old]).update(replaced_by=new)
    return new


@transaction.atomic
def withdraw_frequencies(*, table: FrequencyTable, by: User | None) -> FrequencyTable:
    """Compare no storm with this table any more. It stays in the book.

    Raises
    ------
    Refused
        It is replaced or withdrawn already.
    """
    kept = FrequencyTable.objects.select_for_update(of=("self",)).get(pk=table.pk)
    if kept.ended_at is not None:
        raise Refused(_("This table is not in use any more already."))
    kept.ended_at, kept.ended_by = timezone.now(), by
    kept.save(update_fields=["ended_at", "ended_by"])
    return kept


def refuse_far(found: PublishedTable) -> None:
    """Refuse a table for a place that is far from every site and gauge, where there are any."""
    places = [
        *Site.objects.filter(lat__isnull=False, lon__isnull=False).values_list("lat", "lon"),
        *GaugePlace.objects.values_list("lat", "lon"),
    ]
    if not places:
        return
    ours = np.array(places)
    away_m = float(haversine_m(ours[:, 0], ours[:, 1], found.lat, found.lon).min())
    if away_m > SPEAKS_FOR_M:
        units = Program.get().units
        raise Refused(
            _("The table is for a place %(away)s from your nearest site or gauge; it would speak for %(reach)s around it.")
            % {"away": length_text(away_m, units), "reach": length_text(SPEAKS_FOR_M, units)}
        )  # fmt: skip
