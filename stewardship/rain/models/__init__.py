"""Gauges, readings, the storms found in them, and what each storm was at each site.

Readings and storms keep time as whole seconds since 1970-01-01 UTC (`start_s`, `end_s`): a reading is the interval
(start, end]. Depths are whole micrometres (`_um`): 0.01 in is exactly 254 µm, so sums of readings are exact.
"""

from stewardship.rain.models.files import ReadingFile, ReadingFileEvent, ReadingFilePart
from stewardship.rain.models.frequency import FrequencyTable
from stewardship.rain.models.gauges import (
    Gauge,
    GaugeEvent,
    GaugeOutage,
    GaugePlace,
    GaugeToken,
    RainRule,
    ReaderLink,
)
from stewardship.rain.models.readings import (
    Reading,
    ReadingBatch,
    ReadingCorrection,
    RejectedRow,
)
from stewardship.rain.models.storms import (
    BasinWater,
    DeclaredRain,
    GaugeStorm,
    SiteRain,
    Storm,
    StormRevision,
    StormSearch,
)
from stewardship.rain.models.suspicions import Suspicion
from stewardship.rain.times import instant

__all__ = [
    "BasinWater",
    "DeclaredRain",
    "FrequencyTable",
    "Gauge",
    "GaugeEvent",
    "GaugeOutage",
    "GaugePlace",
    "GaugeStorm",
    "GaugeToken",
    "RainRule",
    "ReaderLink",
    "Reading",
    "ReadingBatch",
    "ReadingCorrection",
    "ReadingFile",
    "ReadingFileEvent",
    "ReadingFilePart",
    "RejectedRow",
    "SiteRain",
    "Storm",
    "StormRevision",
    "StormSearch",
    "Suspicion",
    "instant",
]
