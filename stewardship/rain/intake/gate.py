"""What no reading of a gauge may be, whoever brings it."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from stewardship.rain.choices import BatchSource
from stewardship.rain.intake.blocks import Block, check, mark_totals, refuse_after, refuse_before
from stewardship.rain.models import Gauge
from stewardship.rain.times import CLOCK_SLACK_S, DAILY_SLACK_S, local_s, seconds


class Gate:
    """The checks that blocks of one gauge's readings pass on their way in; they write what is wrong into `why`."""

    def __init__(self, gauge: Gauge, *, source: str, zone: ZoneInfo, now: datetime) -> None:
        self.gauge = gauge
        self.since_s = local_s(gauge.started_on, zone)
        # An hour-stamped day begins before midnight and ends after: it is of the last day if it begins in it.
        self.end_s = (
            0 if gauge.ended_on is None else local_s(gauge.ended_on + timedelta(days=1), zone)
        )
        # A daily reader may be early; the reading still stands for the day that ends at the gauge's hour.
        # A machine's clock may go fast.
        early_s = CLOCK_SLACK_S if source == BatchSource.PUSHED else 0
        if gauge.observation_hour is not None:
            early_s = DAILY_SLACK_S
        self.latest_s = seconds(now) + early_s
        self.in_future = 0  # rows that end after now

    def check(self, block: Block) -> None:
        mark_totals(block)
        self.in_future += int(np.count_nonzero(block.end_s > self.latest_s))
        check(block, now_s=self.latest_s)
        refuse_before(block, since=self.gauge.started_on, since_s=self.since_s)
        if self.gauge.ended_on is not None:
            refuse_after(block, last=self.gauge.ended_on, end_s=self.end_s)
