from celery import shared_task

from stewardship.rain.services import carry_on_searches, find_waiting_storms


@shared_task
def sweep_rain() -> None:
    """Find the storms of readings that have come in since the last sweep, and those that somebody asked to be found again."""
    find_waiting_storms()
    carry_on_searches()
