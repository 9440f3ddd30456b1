import logging

from celery import shared_task
from django.utils import timezone

from stewardship.care.services import sweep

log = logging.getLogger(__name__)


@shared_task
def sweep_duties() -> None:
    """Open duties, tell people, walk hand-on steps. Claims its rows itself, so it may run at any time, or twice."""
    done = {part: n for part, n in sweep(at=timezone.now()).items() if n}
    if done:
        log.info("Duties: %s", ", ".join(f"{part} {n}" for part, n in done.items()))
