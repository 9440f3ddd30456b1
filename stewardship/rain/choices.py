from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class GaugeKind(TextChoices):
    DAILY = "daily", _("Read once a day")
    TIPPING = "tipping", _("Tipping bucket")
    INTERVAL = "interval", _("Automatic, fixed interval")


class GaugeChange(TextChoices):
    """What an event of a gauge is about."""

    MADE = "made", _("Added")
    CHANGED = "changed", _("Facts changed")
    MOVED = "moved", _("Moved")
    PLACE = "place", _("Place corrected")
    READERS = "readers", _("Readers changed")
    DOOR_MADE = "door_made", _("A way in was made")
    DOOR_SHUT = "door_shut", _("A way in was withdrawn")
    OUT = "out", _("Out of order")
    BACK = "back", _("Out of order for a time")
    ENDED = "ended", _("Stands no more")
    AGAIN = "again", _("Taken up again")
    SET_ASIDE = "set_aside", _("Odd readings found right")
    ASKED_AGAIN = "asked_again", _("Odd readings asked about again")


class SuspicionKind(TextChoices):
    """What looks wrong about a stretch of a gauge's record."""

    STUCK = "stuck", _("Dry while its neighbours were wet")
    RATE = "rate", _("More than falls")
    STREAK = "streak", _("One amount again and again")
    ODD = "odd", _("Amounts it cannot show")
    SHIFTED = "shifted", _("A day beside its neighbours")


class ReadingKind(TextChoices):
    """Kinds that are never mixed up: a trace is not a zero, and missing is neither."""

    MEASURED = "measured", _("Measured")
    ZERO = "zero", _("Dry")
    TRACE = "trace", _("Trace")
    MISSING = "missing", _("Missing")
    MULTI_DAY = "multi_day", _("Total of several days")


class DepthUnit(TextChoices):
    INCH = "in", _("inches")
    MM = "mm", _("millimetres")


class BatchSource(TextChoices):
    FILE = "file", _("File")
    TYPED = "typed", _("Typed in")
    PUSHED = "pushed", _("Sent by the gauge")
    DEMO = "demo", _("Invented demo rain")


class Became(TextChoices):
    """What became of a row that came in."""

    NEW = "new", _("New")
    SAME = "same", _("Already known")
    CORRECTED = "corrected", _("Corrected")
    REFUSED = "refused", _("Refused")


class FileState(TextChoices):
    """What became of an uploaded file. Refused: nothing of it was taken in."""

    LOOKED = "looked", _("Looked at, waiting for your yes")
    CONFIRMED = "confirmed", _("Being taken in")
    TAKEN = "taken", _("Taken in")
    REFUSED = "refused", _("Not taken in")
    UNDONE = "undone", _("Taken back")


class Sureness(TextChoices):
    """How sure the rain at a site is. Missing is never zero."""

    DECLARED = "declared", _("Declared by a person")

    MEASURED = "measured", _("Measured")
    ESTIMATED = "estimated", _("Estimated")
    POSSIBLE = "possible", _("Possible")
    UNKNOWN = "unknown", _("Unknown")


class Stamps(TextChoices):
    """What the time in a row of a file stands for."""

    END = "end", _("End of the interval")
    START = "start", _("Start of the interval")


class DateOrder(TextChoices):
    """How 3/4/2026 is written in a file."""

    MONTH_FIRST = "mdy", _("month/day/year")
    DAY_FIRST = "dmy", _("day/month/year")


class FileFormat(TextChoices):
    """What the rows of a file of readings are."""

    INTERVAL = "interval", _("a time and the depth of an interval in each row")
    COUNTER = "counter", _("a running total, as a counter shows it")
    TIPS = "tips", _("one row for each tip of a bucket")
    WIDE = "wide", _("one column for each gauge")
    GHCN_BY_YEAR = "ghcn_by_year", _("GHCN-Daily, all stations of a year")
    GHCN_DAILY = "ghcn_daily", _("GHCN-Daily, one row a day")
    GHCN_FIXED = "ghcn_fixed", _("GHCN-Daily, one line a month (.dly)")


class RainSeries(TextChoices):
    """Of which rains published frequencies speak."""

    PARTIAL = "partial", _("All great rains (partial duration)")
    ANNUAL = "annual", _("The greatest rain of each year (annual maximum)")
