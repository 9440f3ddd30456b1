"""Fill an empty book with the demo program."""

from datetime import date

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from people.models import Program
from stewardship.management.demo.load import is_loaded, load


class Command(BaseCommand):
    help = "Load the demo program: an invented town with three years of rain. Does nothing if it is loaded."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--today",
            type=date.fromisoformat,
            metavar="DATE",
            help="the day on which the story ends, e.g. 2026-07-15 (default: today in the town)",
        )

    def handle(self, *args, **options) -> None:
        if is_loaded():
            self.stdout.write("The demo program is loaded already; nothing was changed.")
            return
        if Program.objects.exists():
            raise CommandError(
                "This book is in use already; the demo is only loaded into an empty one."
            )
        with transaction.atomic():
            counts = load(today=options["today"], started=timezone.now())
        self.stdout.write(
            "Loaded the demo program: "
            + ", ".join(f"{number} {name}" for name, number in counts.items())
            + "."
        )
