from celery import shared_task

from stewardship.rain.services import (
    carry_on_files,
    carry_on_searches,
    check_gauges,
    find_waiting_storms,
)


@shared_task
def sweep_rain() -> None:
    """Find the storms of readings that have come in since the last sweep, and those that somebody asked to be found again."""
    find_waiting_storms()
    carry_on_searches()


@shared_task
def sweep_gauges() -> None:
    """Look at gauges that got readings for what is odd: stuck zeros, impossible rates, one amount again and again."""
    check_gauges()


@shared_task
def sweep_files() -> None:
    """Look through large uploaded files, take in those that were confirmed, and throw away what nobody confirmed."""
    carry_on_files()
