from celery import shared_task

from stewardship.rain.services import find_waiting_storms


@shared_task
def sweep_rain() -> None:
    """Find the storms of readings that have come in since the last sweep."""
    find_waiting_storms()
