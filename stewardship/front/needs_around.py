"""What needs the coordinator besides duties: letters, agreements, questions about rain, gauges."""

from datetime import date, datetime, timedelta
from itertools import groupby

from django.db.models import Count, Exists, Min, OuterRef, Q, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program, User
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.lacks import lacking_words
from stewardship.agreements.models import Agreement, Dispute, Requirement
from stewardship.care.choices import RainAsk
from stewardship.care.models import FlowReport, RainQuestion
from stewardship.common.written import day_text, moment_text
from stewardship.front.need import Need, local_day
from stewardship.front.storms import storm_days
from stewardship.outbox.choices import Status
from stewardship.outbox.models import Message
from stewardship.rain.choices import FileState, GaugeKind
from stewardship.rain.models import Gauge, GaugeOutage, Reading, ReadingFile, Suspicion, instant
from stewardship.rain.services import thrown_away_at
from stewardship.rain.words import suspicion_words

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


def letters() -> list[Need]:
    counts = dict(
        Message.objects.filter(status=Status.HELD).values_list("channel").annotate(n=Count("pk"))
    )
    to_post = Message.objects.to_print().aggregate(n=Count("pk"), oldest=Min("queued_at"))
    needs = []
    if to_post["n"]:
        needs.append(
            Need(
                local_day(to_post["oldest"]),
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
            local_day(message.queued_at),
            _("Letter to %s") % message.to_name,
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


def agreements(today: date) -> list[Need]:
    """Unfinished ones and those in force that lack something, with who is asked; then those that end soon."""
    lacking = Requirement.objects.open(on=today).values("agreement")
    needs = [
        _incomplete(agreement, today)
        for agreement in Agreement.objects.filter(
            Q(state__in=[AgreementState.DRAFT, AgreementState.OFFERED])
            | Q(state=AgreementState.IN_FORCE, pk__in=lacking)
        )
        .with_signing()
        .order_by("created_at")
    ]
    rolling = [kind for kind, rules in INSTRUMENTS.items() if rules.rolls_on_years]
    followed = Agreement.objects.filter(supersedes=OuterRef("pk"), state=AgreementState.IN_FORCE)
    for agreement in (
        Agreement.objects.in_force(on=today)
        .filter(state=AgreementState.IN_FORCE)
        .filter(ends_on__lte=today + timedelta(days=ENDS_SOON_DAYS))
        .exclude(instrument__in=rolling)
        .filter(~Exists(followed))
        .order_by("ends_on")
    ):
        needs.append(
            Need(
                agreement.ends_on,
                agreement.reference,
                reverse("agreements:detail", args=[agreement.pk]),
                _("Ends on %s; nobody is bound after that.") % day_text(agreement.ends_on),
                _("See what runs out"),
                reverse("agreements:renewals"),
            )
        )
    return needs


def _incomplete(agreement: Agreement, today: date) -> Need:
    why = lacking_words(agreement, on=today)
    return Need(
        local_day(agreement.created_at),
        agreement.reference,
        reverse("agreements:detail", args=[agreement.pk]),
        f"{why}." if why else _("Signed by all, not yet in force."),
        _("Go on with it"),
        reverse("agreements:detail", args=[agreement.pk]),
        agreement.state,
        agreement.get_state_display(),
    )


def disputes() -> list[Need]:
    """What is disputed and not settled, oldest first."""
    return [
        Need(
            dispute.opened_on,
            str(dispute.site),
            reverse("site", args=[dispute.site.code]),
            _("%(who)s: %(claim)s")
            % {"who": dispute.person or _("Nobody named"), "claim": dispute.claim},
            _("Answer or settle it"),
            reverse("dispute", args=[dispute.pk]),
            "disputed",
            _("disputed since %s") % day_text(dispute.opened_on),
        )
        for dispute in Dispute.objects.filter(closed_on=None)
        .select_related("site", "person")
        .order_by("opened_on", "pk")
    ]


def rain_questions(program: Program) -> list[Need]:
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
                _("Storm of %s") % storm_days(storm, program=program),
                url,
                ", ".join(
                    say(asks.count(ask)) % asks.count(ask)
                    for ask, say in words.items()
                    if ask in asks
                ),
                _("Decide"),
                reverse("care:rain_questions"),
            )
        )
    return needs


def flow_reports() -> list[Need]:
    """Reports that water ran though no storm says so."""
    return [
        Need(
            report.ran_on,
            str(report.site),
            reverse("site", args=[report.site.code]),
            _("Water ran (%(kind)s), says %(who)s.")
            % {
                "kind": str(report.get_kind_display()).lower(),
                "who": report.teller or _("nobody named"),
            },
            _("Decide"),
            reverse("care:flow_reports"),
        )
        for report in FlowReport.objects.waiting()
        .select_related("site", "person", "by")
        .order_by("at")
    ]


def files(user: User) -> list[Need]:
    """Uploaded files that this user has not decided about."""
    needs = []
    for file in ReadingFile.objects.for_a_person().filter(by=user).order_by("at"):
        refused = file.state == FileState.REFUSED
        why = file.refusal.splitlines()[0] if refused else _("Nothing of it is in the book yet.")
        until = _("It is thrown away on %s.") % day_text(local_day(thrown_away_at(file)))
        url = reverse("rain:file", args=[file.pk])
        needs.append(
            Need(
                local_day(file.at),
                file.name,
                url,
                f"{why} {until}",
                _("Look at it"),
                url,
                file.state,
                file.get_state_display(),
            )
        )
    return needs


def gauges(program: Program, now: datetime, today: date) -> list[Need]:
    """Silent and broken gauges, then those with readings that look wrong."""
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
        if gauge.out_why:
            out = _("Out: %s.") % gauge.out_why
            why = f"{out} {why}"
        needs.append(
            Need(
                local_day(heard) if heard else gauge.started_on,
                str(gauge),
                reverse("rain:gauge", args=[gauge.code]),
                why,
                _("See its record"),
                reverse("rain:gauge", args=[gauge.code]),
            )
        )
    return needs + _odd_readings(program)


def _odd_readings(program: Program) -> list[Need]:
    """One entry per gauge: the latest stretch that nobody has explained, and how many more there are."""
    odd = Suspicion.objects.waiting().select_related("gauge").order_by("gauge__code", "-end_s")
    needs = []
    for gauge, own in groupby(odd, key=lambda one: one.gauge):
        latest, *more = own
        why = [f"{latest.get_kind_display()}.", suspicion_words(latest, program.units).why]
        if more:
            why.append(
                ngettext("%s more stretch looks odd.", "%s more stretches look odd.", len(more))
                % len(more)
            )
        url = reverse("rain:gauge", args=[gauge.code]) + "#odd"
        needs.append(
            Need(local_day(latest.start_at), str(gauge), url, " ".join(why), _("Look at it"), url)
        )
    return needs
