"""`manage.py verify_document`: is this the file that was sealed, and the one in the book?"""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.models import Document
from stewardship.agreements.verifying import look_at


class Command(BaseCommand):
    help = (
        "Says whether the seal on a signed copy is intact, by which certificate, and whether the book holds the same bytes. "
        "Ends with 1 when anything of that is not so."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        which = parser.add_mutually_exclusive_group(required=True)
        which.add_argument("file", nargs="?", type=Path, metavar="FILE")
        which.add_argument("--agreement", metavar="REFERENCE", help="the signed copy in the book")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["agreement"]:
            content = self._from_book(options["agreement"])
        else:
            try:
                content = options["file"].read_bytes()
            except OSError as error:
                raise CommandError(
                    f"{options['file']} cannot be read: {error.strerror}."
                ) from error
        found = look_at(content)
        for one in found:
            self.stdout.write(f"{'yes' if one.good else 'NO '}  {one.words}")
        if not all(one.good for one in found):
            raise CommandError("Do not rely on this file.", returncode=1)
        self.stdout.write("This is the signed copy as it was sealed.")

    def _from_book(self, reference: str) -> bytes:
        copies = Document.objects.filter(
            agreement__reference=reference, kind=DocumentKind.SEALED
        ).order_by("-version")
        copy = copies.first()
        if copy is None:
            raise CommandError(f"The book holds no sealed copy of {reference}.", returncode=1)
        return bytes(copy.content)
