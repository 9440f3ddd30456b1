from celery import shared_task

from stewardship.reports.services import build_requested


@shared_task
def sweep_reports() -> int:
    """Build what was asked for; safe to run twice at once."""
    return build_requested()
