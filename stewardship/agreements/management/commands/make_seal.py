"""`manage.py make_seal`: the program's key and certificate for sealing signed copies."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.common.seal import has_seal, make_seal


class Command(BaseCommand):
    help = (
        "Makes the seal (key and self-signed certificate) that signed copies get. Keeps one that is there. "
        "SEAL_FILE says where, SEAL_PASSPHRASE locks it. Back it up: a lost key cannot be made again."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--renew",
            action="store_true",
            help="make a new one in its place; the old certificate is kept so that old seals are known",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        there = has_seal() and not options["renew"]
        try:
            mark = make_seal(name=f"{Program.get().name}: seal", renew=options["renew"])
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        said = "There is a seal already; nothing was changed." if there else "Made the seal."
        self.stdout.write(f"{said} {settings.SEAL_FILE}, certificate SHA-256 {mark}")
