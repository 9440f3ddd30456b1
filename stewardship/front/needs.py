"""What needs the coordinator, in order of urgency. Each entry says why and where to act; the number of queries is fixed."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import groupby

from django.db.models import Count, Min, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from people.models import Program
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Agreement
from stewardship.agreements.standing import missing_signatures, sites_with_nobody
from stewardship.care.choices import DutyState, Judgement, NeedsPerson, RainAsk, Trigger
from stewardship.care.models import ContactCheck, Duty, RainQuestion
from stewardship.care.words import reason_text
from stewardship.common.written import day_text, moment_text
from stewardship.outbox.choices import Status
from stewardship.outbox.models import Message
from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Gauge, GaugeOutage, Reading, instant

#: Entries of one kind that stand on the page; the rest are counted and linked.
SHOWN = 6
#: An agreement that ends within so many days needs talking over now. Common practice, no source.
ENDS_SOON_DAYS = 60
#: After so long without a reading a gauge counts as silent: two missed mornings, or a day without a bucket's report.
SILENT_AFTER = {
    GaugeKind.DAILY: timedelta(days=2),
    GaugeKind.TIPPING: timedelta(days=1),
    GaugeKind.INTERVAL: timedelta(days=1),
}
#: A bucket that reports only rain may be silent as long as it is dry; asked about all the same after a month.
SILENT_IF_DRY_IS_NOT_LISTED = timedelta(days=30)


@dataclass(frozen=True)
class Need:
    """One thing to do: since when, about what, why, and the action offered."""

    day: date | None
    title: str
    url: str
    why: str
    action: str
    action_url: str
    state: str = ""
    state_words: str = ""


@dataclass
class Section:
    """Needs of one kind."""

    key: str
    heading: str | Promise
    more_url: str
    needs: list[Need] = field(default_factory=list)

    @property
    def shown(self) -> list[Need]:
        return self.needs[:SHOWN]

    @property
    def more(self) -> int:
        return max(0, len(self.needs) - SHOWN)


def what_needs_me(*, program: Program, now: datetime) -> list[Section]:
    """The sections that have something in them, most urgent first."""
    today = now.astimezone(program.tz).date()
    nobody = list(sites_with_nobody(on=today).annotate(open_duties=_open_duties()))
    duties = list(_duties_that_need_somebody(today))
    unowned = [duty for duty in duties if duty.owed_by_id is None]
    found = [duty for duty in duties if duty.trigger == Trigger.FINDING or _is_unsafe(duty)]
    rest = [duty for duty in duties if duty not in found and duty.owed_by_id is not None]
    listed = [duty for duty in rest if duty.needs_person_since]
    late = [duty for duty in rest if not duty.needs_person_since]
    units = program.units
    sections = [
        Section(
            "nobody",
            gettext_lazy("Nobody is responsible"),
            reverse("sites:list"),
            _nobody(nobody, [duty for duty in unowned if duty not in found], units),
        ),
        Section(
            "found",
            gettext_lazy("Found unsafe or in need of work"),
            reverse("care:duties"),
            [_of_duty(duty, today, units) for duty in sorted(found, key=_by_danger)],
        ),
        Section(
            "listed",
            gettext_lazy("Cannot, not theirs, or no answer"),
            reverse("care:duties"),
            [_of_duty(duty, today, units) for duty in listed],
        ),
        Section(
            "checks",
            gettext_lazy("Find out how to reach them"),
            reverse("care:checks"),
            _checks(),
        ),
        Section(
            "late",
            gettext_lazy("Late"),
            reverse("care:duties"),
            [_of_duty(duty, today, units) for duty in late],
        ),
        Section("letters", gettext_lazy("Letters"), reverse("outbox:list"), _letters()),
        Section(
            "agreements",
            gettext_lazy("Agreements"),
            reverse("agreements:list"),
            _agreements(today),
        ),
        Section(
            "rain",
            gettext_lazy("Late or unknown rain: you decide"),
            reverse("rain:storms"),
            _rain_questions(program),
        ),
        Section(
            "gauges",
            gettext_lazy("Silent gauges"),
            reverse("rain:gauges"),
            _gauges(now, today),
        ),
    ]
    return [section for section in sections if section.needs]


def _open_duties() -> Count:
    return Count("duties", filter=Q(duties__state=DutyState.OPEN), distinct=True)


def _duties_that_need_somebody(today: date) -> QuerySet[Duty]:
    return (
        Duty.objects.open()
        .filter(
            Q(owed_by__isnull=True)
            | Q(trigger=Trigger.FINDING)
            | Q(needs_person_since__isnull=False)
            | Q(due_on__lt=today)
        )
        .select_related("site", "owed_by__person", "owed_by__agency")
        .with_latest()
        .order_by("due_on", "pk")
    )


def _is_unsafe(duty: Duty) -> bool:
    return (
        duty.needs_person_why == NeedsPerson.UNSAFE
        or duty.reason.get("judgement") == Judgement.UNSAFE
    )


def _by_danger(duty: Duty) -> tuple:
    return (not _is_unsafe(duty), duty.due_on, duty.pk)


def _local(moment: datetime) -> date:
    """Its date in the zone that is active: the program's, on pages."""
    return timezone.localtime(moment).date()


def _site_url(code: str) -> str:
    return reverse("site", args=[code])


def _nobody(sites: Iterable, duties: Iterable[Duty], units: str) -> list[Need]:
    needs = [
        Need(
            site.built_on,
            str(site),
            _site_url(site.code),
            ngettext(
                "Built, and nobody does the work there; %s duty is open.",
                "Built, and nobody does the work there; %s duties are open.",
                site.open_duties,
            )
            % site.open_duties
            if site.open_duties
            else _("Built, and nobody does the work there."),
            _("Find somebody"),
            _site_url(site.code),
        )
        for site in sites
    ]
    told = {need.title for need in needs}
    needs += [
        Need(
            duty.opened_on,
            str(duty.site),
            _site_url(duty.site.code),
            _("Due %(day)s, owed by nobody: %(why)s")
            % {"day": day_text(duty.due_on), "why": reason_text(duty.reason, units)},
            _("Open the duty"),
            reverse("care:duty", args=[duty.pk]),
        )
        for duty in duties
        if str(duty.site) not in told
    ]
    return needs


def _of_duty(duty: Duty, today: date, units: str) -> Need:
    why = [reason_text(duty.reason, units)]
    if duty.needs_person_since:
        why.append(
            _("%(why)s, since %(day)s")
            % {"why": duty.get_needs_person_why_display(), "day": day_text(duty.needs_person_since)}
        )
    if duty.owed_by:
        why.append(_("owed by %s") % duty.owed_by.holder)
    if duty.told_at and not duty.answer_kind:
        why.append(_("told, no answer yet"))
    if _is_unsafe(duty):
        state, words = "unsafe", str(Judgement.UNSAFE.label)
    elif duty.due_on < today:
        state, words = "overdue", _("due %s") % day_text(duty.due_on)
    else:
        state, words = "open", _("due %s") % day_text(duty.due_on)
    return Need(
        duty.opened_on,
        str(duty.site),
        _site_url(duty.site.code),
        " · ".join(part for part in why if part),
        _("Open the duty"),
        reverse("care:duty", args=[duty.pk]),
        state,
        words,
    )


def _checks() -> list[Need]:
    return [
        Need(
            _local(check.opened_at),
            str(check.person),
            reverse("people:detail", args=[check.person_id]),
            " · ".join(
                filter(
                    None,
                    [check.get_reason_display(), check.site and str(check.site), check.note],
                )
            ),
            _("Say what you found out"),
            reverse("care:check_close", args=[check.pk]),
        )
        for check in ContactCheck.objects.open().select_related("person", "site")
    ]


def _letters() -> list[Need]:
    counts = dict(
        Message.objects.filter(status=Status.HELD).values_list("channel").annotate(n=Count("pk"))
    )
    to_post = Message.objects.to_print().aggregate(n=Count("pk"), oldest=Min("queued_at"))
    needs = []
    if to_post["n"]:
        needs.append(
            Need(
                _local(to_post["oldest"]),
                ngettext(
                    "%s letter to print and post", "%s letters to print and post", to_post["n"]
                )
                % to_post["n"],
                reverse("outbox:to_post"),
                _("Nobody is told until they are posted."),
                _("Print them"),
                reverse("outbox:to_post"),
            )
        )
    needs += [
        Need(
            _local(message.queued_at),
            str(message),
            reverse("outbox:detail", args=[message.pk]),
            message.error or _("Nobody can tell whether it went out."),
            _("Decide"),
            reverse("outbox:detail", args=[message.pk]),
            message.status,
            message.get_status_display(),
        )
        for message in Message.objects.needing_a_person().defer("text", "html", "context")
    ]
    held = sum(counts.values())
    if held:
        needs.append(
            Need(
                None,
                ngettext("%s message is held", "%s messages are held", held) % held,
                reverse("outbox:list") + f"?status={Status.HELD}",
                _("Each says why."),
                _("Look at them"),
                reverse("outbox:list") + f"?status={Status.HELD}",
                Status.HELD,
                Status.HELD.label,
            )
        )
    return needs


def _agreements(today: date) -> list[Need]:
    """Unfinished ones with what is missing; then those in force that end soon."""
    needs = []
    for agreement in (
        Agreement.objects.filter(state__in=[AgreementState.DRAFT, AgreementState.OFFERED])
        .with_signing()
        .order_by("created_at")
    ):
        missing = "; ".join(str(one) for one in missing_signatures(agreement))
        needs.append(
            Need(
                _local(agreement.created_at),
                agreement.reference,
                reverse("agreements:detail", args=[agreement.pk]),
                _("Missing: %s") % missing if missing else _("Signed by all, not yet in force."),
                _("Go on with it"),
                reverse("agreements:detail", args=[agreement.pk]),
                agreement.state,
                agreement.get_state_display(),
            )
        )
    for agreement in (
        Agreement.objects.in_force(on=today)
        .filter(ends_on__lte=today + timedelta(days=ENDS_SOON_DAYS))
        .order_by("ends_on")
    ):
        needs.append(
            Need(
                agreement.ends_on,
                agreement.reference,
                reverse("agreements:detail", args=[agreement.pk]),
                _("Ends on %s; nobody is bound after that.") % day_text(agreement.ends_on),
                _("Talk it over"),
                reverse("agreements:detail", args=[agreement.pk]),
            )
        )
    return needs


def _rain_questions(program: Program) -> list[Need]:
    """One entry per storm; the sites are decided on its page."""
    words = {
        RainAsk.ADD: lambda n: ngettext("%s site would get a duty", "%s sites would get a duty", n),
        RainAsk.NEEDLESS: lambda n: ngettext(
            "%s site was told needlessly", "%s sites were told needlessly", n
        ),
        RainAsk.UNKNOWN: lambda n: ngettext(
            "rain is not known at %s site", "rain is not known at %s sites", n
        ),
    }
    needs = []
    questions = (
        RainQuestion.objects.open().select_related("storm").order_by("storm__start_s", "storm")
    )
    for storm, own in groupby(questions, key=lambda question: question.storm):
        asks = [question.ask for question in own]
        url = reverse("storm", args=[storm.pk])
        needs.append(
            Need(
                storm.start_at.astimezone(program.tz).date(),
                _("Storm of %s") % day_text(storm.start_at.astimezone(program.tz).date()),
                url,
                " · ".join(
                    say(asks.count(ask)) % asks.count(ask)
                    for ask, say in words.items()
                    if ask in asks
                ),
                _("Decide"),
                url,
            )
        )
    return needs


def _gauges(now: datetime, today: date) -> list[Need]:
    last = Reading.objects.filter(gauge=OuterRef("pk")).order_by("-start_s").values("end_s")[:1]
    out = GaugeOutage.objects.filter(gauge=OuterRef("pk"), end_s__isnull=True).values("why")[:1]
    needs = []
    for gauge in Gauge.objects.active(on=today).annotate(
        last_s=Subquery(last), out_why=Subquery(out)
    ):
        patience = SILENT_AFTER[gauge.kind] if gauge.lists_dry else SILENT_IF_DRY_IS_NOT_LISTED
        heard = instant(gauge.last_s) if gauge.last_s else None
        if heard and now - heard <= patience and not gauge.out_why:
            continue
        why = (
            _("Last reading %s.") % moment_text(heard)
            if heard
            else _("It has never sent a reading.")
        )
        needs.append(
            Need(
                _local(heard) if heard else gauge.started_on,
                str(gauge),
                reverse("rain:gauge", args=[gauge.code]),
                f"{_('Out: %s.') % gauge.out_why} {why}" if gauge.out_why else why,
                _("See its record"),
                reverse("rain:gauge", args=[gauge.code]),
            )
        )
    return needs
