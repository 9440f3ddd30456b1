import logging

from celery import shared_task

from stewardship.outbox.delivery import deliver_due

log = logging.getLogger(__name__)


@shared_task
def sweep_outbox() -> None:
    """Deliver what is due, a small batch at a time."""
    done = deliver_due()
    if done:
        log.info("Outbox: %s", ", ".join(f"{n} {became}" for became, n in sorted(done.items())))
