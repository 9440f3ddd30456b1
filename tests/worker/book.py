"""What the test does to the worker's database, from a process of its own: `python -m tests.worker.book queue`."""

import os
import sys
from datetime import timedelta

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.worker.settings"
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db.models import F  # noqa: E402
from django.utils import timezone  # noqa: E402

from people.models import Program  # noqa: E402
from stewardship.outbox.delivery import STUCK_AFTER  # noqa: E402
from stewardship.outbox.models import Message  # noqa: E402
from stewardship.outbox.services import queue_message  # noqa: E402
from stewardship.outbox.tasks import sweep_outbox  # noqa: E402


def queue(classes: str) -> None:
    """One due message per letter of `classes`: r for a reminder, n for a notice; and one sweep."""
    call_command("migrate", verbosity=0)
    Program.objects.create(pk=1, name="Trial", quiet_until_hour=0, quiet_from_hour=24)
    for number, letter in enumerate(classes):
        queue_message(
            key=str(number),
            message_class={"r": "reminder", "n": "notice"}[letter],
            channel="email",
            to_name="Ines Quist",
            to_address="ines.quist@example.org",
            language="en",
            template="trial",
            context={"number": number},
            due_at=timezone.now() - timedelta(minutes=60 - number),
        )
    sweep_outbox.delay()


def later() -> None:
    """A quarter of an hour passes, as far as messages being sent are concerned; and one more sweep."""
    Message.objects.filter(status="sending").update(
        taken_at=F("taken_at") - STUCK_AFTER - timedelta(minutes=1)
    )
    sweep_outbox.delay()


if __name__ == "__main__":
    {"queue": queue, "later": later}[sys.argv[1]](*sys.argv[2:])
