"""Do once, now, what the background worker does all day: readings → storms → duties → reminders → letters out."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from stewardship.care.services import sweep
from stewardship.outbox.delivery import deliver_due
from stewardship.rain.services import carry_on_files, find_waiting_storms

WORDS = {
    "stopped": "letters stopped because nobody writes there any more",
    "weighed": "site rains weighed",
    "rounds": "looks due by calendar",
    "handed_over": "duties passed to who is responsible now",
    "paused": "duties and letters brought in line with pauses",
    "bounced": "letters found undelivered",
    "letters": "letters made",
    "steps": "hand-on steps taken",
}


class Command(BaseCommand):
    help = (
        "Find storms in new readings, open duties, queue reminders and deliver what is due, once. "
        "For machines without a background worker: call it from cron. Running it again does nothing twice."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        if files := carry_on_files():
            self.stdout.write(f"{files} uploaded files looked through or taken in")
        self.stdout.write(f"{find_waiting_storms()} storms new, changed or gone")
        for part, count in sweep(at=timezone.now()).items():
            self.stdout.write(f"{count} {WORDS[part]}")
        delivered = deliver_due()
        said = ", ".join(f"{n} {became}" for became, n in sorted(delivered.items()))
        self.stdout.write(f"Outbox: {said or 'nothing due'}")
