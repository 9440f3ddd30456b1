"""Takes a CSV of rain readings into a gauge's record and finds the storms in it."""

from argparse import ArgumentParser
from difflib import get_close_matches
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from stewardship.common.errors import Refused
from stewardship.common.written import number_text
from stewardship.rain.choices import DateOrder, DepthUnit, FileFormat, Stamps
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import Gauge, ReadingBatch, SiteRain
from stewardship.rain.services import find_waiting_storms, import_file

SHOWN_ROWS = 10


class Command(BaseCommand):
    help = "Takes a CSV of rain readings into a gauge's record and finds the storms in it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="the CSV file")
        parser.add_argument(
            "--gauge", required=True, metavar="CODE", help="whose readings they are"
        )
        parser.add_argument(
            "--time-column", default="", metavar="NAME", help="column of the times (two: DATE+TIME)"
        )
        parser.add_argument(
            "--depth-column", default="", metavar="NAME", help="column of the depths"
        )
        parser.add_argument(
            "--unit", default="", choices=DepthUnit.values, help="unit of the depths"
        )
        parser.add_argument(
            "--dates",
            default="",
            choices=DateOrder.values,
            help="whether dates such as 3/4/2026 are month/day/year or day/month/year",
        )
        parser.add_argument(
            "--zone",
            default="",
            help="zone of times without an offset, e.g. America/Denver or -07:00",
        )
        parser.add_argument(
            "--step", default="", help="how long one reading lasts, e.g. 15m, 1h, 1d"
        )
        parser.add_argument(
            "--stamps",
            default="",
            choices=Stamps.values,
            help="whether a time is the end (usual) or the start of its reading",
        )
        parser.add_argument(
            "--where", default="", metavar="COLUMN=VALUE", help="take only these rows"
        )
        parser.add_argument(
            "--format",
            default="",
            choices=FileFormat.values,
            help="what the rows are, where it is not found out",
        )
        parser.add_argument("--tip", default="", metavar="DEPTH", help="depth of one tip: 0.2 mm")
        parser.add_argument(
            "--through", action="store_true", help="go on to duties, reminders and letters"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        gauge = self._gauge(options["gauge"])
        wishes = Wishes(**{name: options.get(name) or "" for name in Wishes.__dataclass_fields__})
        try:
            batch = import_file(
                gauge=gauge,
                file_name=options["file"],
                content=options["file"],
                wishes=wishes,
                progress=lambda rows: self.stdout.write(_("%s rows read …") % number_text(rows)),
            )
        except Refused as refusal:
            raise CommandError(str(refusal)) from None
        self._say(batch)
        before = timezone.now()
        changed = find_waiting_storms()
        self.stdout.write(
            ngettext(
                "%(n)s storm is new or changed; %(rains)s site rains to weigh.",
                "%(n)s storms are new or changed; %(rains)s site rains to weigh.",
                changed,
            )
            % {"n": number_text(changed), "rains": number_text(SiteRain.objects.waiting().count())}
        )
        if ReadingBatch.objects.filter(storms_found_at=None, at__lte=before).exists():
            raise CommandError(
                _("The readings are stored, but storms could not be found; the log says why.")
            )
        if options["through"]:
            call_command("run_sweeps", stdout=self.stdout, stderr=self.stderr)

    def _gauge(self, code: str) -> Gauge:
        gauge = Gauge.objects.filter(code__iexact=code).first()
        if gauge is not None:
            return gauge
        codes = list(Gauge.objects.values_list("code", flat=True))
        if not codes:
            raise CommandError(_("There is no gauge “%s”, and no other one yet.") % code)
        folded = {known.casefold(): known for known in codes}
        near = [folded[c] for c in get_close_matches(code.casefold(), folded, n=3, cutoff=0.4)]
        raise CommandError(
            _("There is no gauge “%(code)s”. Did you mean %(near)s?")
            % {"code": code, "near": ", ".join(near or codes[:3])}
        )

    def _say(self, batch: ReadingBatch) -> None:
        counts = [
            (_("new"), batch.added),
            (_("already known"), batch.same),
            (_("corrections"), batch.corrected),
            (_("not taken in"), batch.rejected),
            (_("of other gauges"), batch.skipped),
        ]
        self.stdout.write(batch.understood)
        self.stdout.write(
            "; ".join(f"{name} {number_text(count)}" for name, count in counts if count)
        )
        for row in batch.rejected_rows.all()[:SHOWN_ROWS]:
            self.stdout.write(
                _("Line %(line)s: %(why)s (%(text)s)")
                % {"line": row.line, "why": row.why, "text": row.text}
            )
        if batch.rejected > SHOWN_ROWS:
            self.stdout.write(
                _("… and %s more rows, all on the page of this import.")
                % number_text(batch.rejected - SHOWN_ROWS)
            )
