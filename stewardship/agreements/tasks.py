import logging

from celery import shared_task

from people.models import Program
from stewardship.agreements.sealing import seal_due
from stewardship.agreements.services.renewing import roll_on

log = logging.getLogger(__name__)


@shared_task
def sweep_papers() -> None:
    """Seal signed copies of agreements that have come into force; safe to run twice at once."""
    done = seal_due()
    if done:
        log.info("Signed copies sealed: %d", done)


@shared_task
def sweep_terms() -> None:
    """Let agreements that roll on by themselves go on; safe to run twice at once."""
    done = roll_on(on=Program.get().today())
    if done:
        log.info("Agreements that roll on: %d", done)
