"""Takes a file of rain readings into the record of its gauge or gauges and finds the storms in it; looks at one; takes one back."""

from argparse import ArgumentParser
from difflib import get_close_matches
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.common.written import number_text
from stewardship.rain.choices import DateOrder, DepthUnit, FileFormat, Stamps
from stewardship.rain.intake.ingest import at_hand
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.preview import warnings_of
from stewardship.rain.intake.rehearsal import GaugeFound, rehearse
from stewardship.rain.models import Gauge, ReadingBatch, SiteRain
from stewardship.rain.services import find_waiting_storms, import_several, undo_batch

SHOWN_ROWS = 10


class Command(BaseCommand):
    help = (
        "Takes a file of rain readings into the record of its gauge or gauges and finds the storms in it. "
        "With --look it only says what would become of it; with --undo it takes a batch back."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", nargs="?", default="", help="the file, a table as text")
        parser.add_argument(
            "--gauge",
            default="",
            metavar="CODE",
            help="whose readings they are; without it the file says so",
        )
        parser.add_argument(
            "--look", action="store_true", help="say what would become of the file; write nothing"
        )
        parser.add_argument(
            "--undo", type=int, metavar="BATCH", help="take the batch of this number back"
        )
        parser.add_argument("--why", default="", help="why it is taken back")
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
        parser.add_argument(
            "--gauges",
            default="",
            metavar="NAME=CODE,…",
            help="whose column or name in the file is whose gauge",
        )
        parser.add_argument("--tip", default="", metavar="DEPTH", help="depth of one tip: 0.2 mm")
        parser.add_argument(
            "--through", action="store_true", help="go on to duties, reminders and letters"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["undo"] is not None:
            self._undo(options["undo"], options["why"])
            return
        if not options["file"]:
            raise CommandError(_("Name the file."))
        gauge = self._gauge(options["gauge"]) if options["gauge"] else None
        wishes = Wishes(**{name: options.get(name) or "" for name in Wishes.__dataclass_fields__})
        try:
            if options["look"]:
                self._look(options["file"], gauge, wishes)
                return
            batches = import_several(
                gauge=gauge,
                file_name=options["file"],
                content=options["file"],
                wishes=wishes,
                progress=self._progress,
            )
        except Refused as refusal:
            raise CommandError(str(refusal)) from None
        for batch in batches:
            self._say(batch, several=len(batches) > 1)
        self._find_storms()
        if options["through"]:
            call_command("run_sweeps", stdout=self.stdout, stderr=self.stderr)

    def _progress(self, rows: int) -> None:
        self.stdout.write(_("%s rows read …") % number_text(rows))

    def _find_storms(self) -> None:
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

    def _look(self, path: str, gauge: Gauge | None, wishes: Wishes) -> None:
        """What would become of a file, in words."""
        program = Program.get()
        with timezone.override(program.tz):
            with at_hand(path, gauge=gauge, wishes=wishes, program=program) as read:
                self.stdout.write(read.found.words())
            found = rehearse(content=path, gauge=gauge, wishes=wishes, progress=self._progress)
            for one in found.gauges:
                self._say_counts(one, several=True, skipped=0)
            if found.skipped:
                self.stdout.write(_("%s rows of other gauges") % number_text(found.skipped))
            for sentence in [*warnings_of(found, program.units), *found.notes]:
                self.stdout.write(sentence)
            for line, _code, text, why in found.rejected[:SHOWN_ROWS]:
                self._say_rejected(line, why, text)
            if found.refusal:
                raise Refused(found.refusal)
            self.stdout.write(_("Nothing was written."))

    def _undo(self, pk: int, why: str) -> None:
        batch = ReadingBatch.objects.filter(pk=pk).first()
        if batch is None:
            raise CommandError(_("There is no batch %s.") % pk)
        try:
            plan = undo_batch(batch=batch, by=None, why=why)
        except Refused as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(
            _("%(removed)s readings removed, %(restored)s say again what they said, %(stay)s stay.")
            % {name: number_text(getattr(plan, name)) for name in ("removed", "restored", "stay")}
        )
        self._find_storms()

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

    def _say(self, batch: ReadingBatch, *, several: bool) -> None:
        self.stdout.write(batch.understood)
        self._say_counts(batch, several=several, skipped=batch.skipped)
        for row in batch.rejected_rows.all()[:SHOWN_ROWS]:
            self._say_rejected(row.line, row.why, row.text)
        if batch.rejected > SHOWN_ROWS:
            self.stdout.write(
                _("… and %s more rows, all on the page of this import.")
                % number_text(batch.rejected - SHOWN_ROWS)
            )
        self.stdout.write(_("To take it back: --undo %s --why …") % batch.pk)

    def _say_counts(self, of: ReadingBatch | GaugeFound, *, several: bool, skipped: int) -> None:
        counts = [
            (_("new"), of.added),
            (_("already known"), of.same),
            (_("corrections"), of.corrected),
            (_("not taken in"), of.rejected),
            (_("of other gauges"), skipped),
        ]
        code = of.gauge.code if isinstance(of, ReadingBatch) else of.code
        said = "; ".join(f"{name} {number_text(count)}" for name, count in counts if count)
        self.stdout.write(f"{code}: {said}" if several else said)

    def _say_rejected(self, line: int, why: str, text: str) -> None:
        self.stdout.write(
            _("Line %(line)s: %(why)s (%(text)s)") % {"line": line, "why": why, "text": text}
        )
