"""Reports from request to issue. An issued report is never rewritten: its figures, bytes and hash stay as they were."""

import hashlib
import logging
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from people.models import Agency, Program, User
from stewardship.common.errors import Refused
from stewardship.common.pdf import count_pages, render_pdf
from stewardship.reports.choices import ReportState
from stewardship.reports.figures import Period
from stewardship.reports.gather import gather
from stewardship.reports.models import Report, ReportEvent
from stewardship.reports.paper import paper_context

log = logging.getLogger(__name__)

#: A report covers a year at most: every permit asks for yearly figures.
LONGEST_DAYS = 366
#: After so long without a word, the builder of a report is taken to be dead.
BUILDER_PATIENCE = timedelta(minutes=10)


def request_report(
    *,
    starts_on: date,
    ends_on: date,
    agency: Agency | None = None,
    language: str,
    today: date,
    by: User | None = None,
) -> Report:
    """Ask for a report; the background sweep builds it. The same request again, while it is under way, is the same report.

    Raises
    ------
    Refused : the days are out of order, span more than a year, or lie in the future.
    """
    if ends_on < starts_on:
        raise Refused(_("The period ends before it starts."))
    if (ends_on - starts_on).days >= LONGEST_DAYS:
        raise Refused(_("A report covers a year at most."))
    if starts_on > today:
        raise Refused(_("The period has not begun yet."))
    asked = {"starts_on": starts_on, "ends_on": ends_on, "agency": agency, "language": language}
    try:
        with transaction.atomic():
            report = Report.objects.create(**asked, requested_by=by)
            ReportEvent.objects.create(report=report, became=ReportState.REQUESTED, by=by)
    except IntegrityError:
        report = Report.objects.filter(
            **asked, state__in=[ReportState.REQUESTED, ReportState.BUILDING]
        ).first()
        if report is None:
            raise
    return report


def build_requested(*, limit: int = 5) -> int:
    """Build up to `limit` waiting reports and say how many were issued. One that fails never stops the rest."""
    _release_stuck(now=timezone.now())
    issued = 0
    for pk in Report.objects.waiting().values_list("pk", flat=True)[:limit]:
        issued += build_report(pk=pk)
    return issued


def build_report(*, pk: int) -> bool:
    """Build one requested report if nobody else has taken it. True when it was issued."""
    now = timezone.now()
    with transaction.atomic():
        taken = Report.objects.filter(pk=pk, state=ReportState.REQUESTED).update(
            state=ReportState.BUILDING, taken_at=now
        )
        if not taken:
            return False
        ReportEvent.objects.create(
            report_id=pk, was=ReportState.REQUESTED, became=ReportState.BUILDING
        )
    report = Report.objects.select_related("agency").get(pk=pk)
    try:
        figures, content = _make(report, made_at=now)
        pages = count_pages(content)
    except Exception:
        # whatever went wrong with one report must be seen on its row, not only in a log
        log.exception("report %s could not be built", pk)
        _finish(
            report,
            state=ReportState.FAILED,
            error=_(
                "The report could not be built. Ask for it again; if that fails too, tell whoever keeps the server."
            ),
        )
        return False
    return _finish(
        report,
        state=ReportState.ISSUED,
        figures=figures,
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        pages=pages,
        issued_at=timezone.now(),
    )


def _make(report: Report, *, made_at: datetime) -> tuple[dict, bytes]:
    """Figures as plain data and the PDF. Reads only; no transaction is open."""
    program = Program.get()
    with translation.override(report.language), timezone.override(program.tz):
        period = Period.until(
            report.starts_on, report.ends_on, today=made_at.astimezone(program.tz).date()
        )
        figures = gather(period=period, agency=report.agency)
        context = paper_context(figures, program=program, made_at=made_at)
        content = render_pdf("reports/yearly.html", context, language=report.language)
        return figures.as_data(), content


def _finish(report: Report, *, state: str, error: str = "", **results) -> bool:
    """Write the end of a build down, unless somebody took the report over meanwhile."""
    with transaction.atomic():
        done = Report.objects.filter(
            pk=report.pk, state=ReportState.BUILDING, taken_at=report.taken_at
        ).update(state=state, error=error, **results)
        if done:
            ReportEvent.objects.create(
                report=report, was=ReportState.BUILDING, became=state, why=error
            )
    return bool(done) and state == ReportState.ISSUED


def _release_stuck(*, now: datetime) -> None:
    """Give reports back whose builder died."""
    for report in Report.objects.stuck(since=now - BUILDER_PATIENCE):
        with transaction.atomic():
            released = Report.objects.filter(
                pk=report.pk, state=ReportState.BUILDING, taken_at=report.taken_at
            ).update(state=ReportState.REQUESTED, taken_at=None)
            if released:
                ReportEvent.objects.create(
                    report=report,
                    was=ReportState.BUILDING,
                    became=ReportState.REQUESTED,
                    why=_("The builder stopped before it was done."),
                )
