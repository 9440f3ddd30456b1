"""How sites stand on a day: agreement, last look and its evidence, what was found wanting, what is open or late, known or unknown.

What counts as a look is said by `Visit.objects.looks`. A site that nobody has looked at for `known_for_days` is unknown, which
is neither good nor bad; one that was built since and waits for its first look is new.
"""

from datetime import date, timedelta

from django.db.models import (
    BooleanField,
    Case,
    Exists,
    F,
    Func,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from sites.models import Site
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Agreement, Dispute
from stewardship.care.choices import NEEDS_WORK, Judgement, Trigger
from stewardship.care.models import Duty, Finding, Visit

#: Days after which a look no longer tells how a site is. A quarter and a month's grace; our default, to be set by the reader.
KNOWN_FOR_DAYS = 120


def open_on(day: date) -> Q:
    """Duties that were open at the end of that day."""
    return Q(opened_on__lte=day) & (Q(closed_on__isnull=True) | Q(closed_on__gt=day))


def standing(
    sites: QuerySet[Site], *, on: date, known_for_days: int = KNOWN_FOR_DAYS
) -> QuerySet[Site]:
    """The built ones of `sites`, each annotated with how it stood at the end of `on`.

    agreement_state  "in_force", "offered", "draft", "ended" or "missing";  agreement_ends_on  last day, None: no end agreed
    last_look_on, last_look_evidence, last_look_pk  of the newest look, None: never
    is_known  the newest look is at most `known_for_days` old
    is_unsafe, is_wanting  something unsafe / asking for work at the newest look, or a follow-up still open
    condition  "unsafe", "act", "new", "unknown" or "good", in this order: an open finding stays one when it grows old
    open_duties, late_duties  counts;  late_since  due day of the oldest late one
    disputed_since  None: nothing is disputed there. While something is, nothing counts as late
    """
    of_site = {"site": OuterRef("pk")}
    at_site = {"sites": OuterRef("pk")}
    bound = Agreement.objects.in_force(on=on).filter(**at_site)
    last_look = Visit.objects.looks(until=on).filter(**of_site).order_by("-happened_on", "-pk")
    open_duties = Duty.objects.filter(open_on(on), **of_site)
    disputes = Dispute.objects.open(on=on).filter(**of_site)
    late = open_duties.filter(
        ~Exists(Dispute.objects.open(on=on).filter(site=OuterRef("site"))), due_on__lt=on
    )
    known_since = on - timedelta(days=known_for_days)
    wrong = Finding.objects.filter(visit=OuterRef("last_look_pk"), judgement__in=NEEDS_WORK)
    return (
        sites.built(on=on)
        .annotate(
            agreement_state=Case(
                When(Exists(bound), then=Value("in_force")),
                When(_has_agreement(AgreementState.OFFERED), then=Value("offered")),
                When(_has_agreement(AgreementState.DRAFT), then=Value("draft")),
                When(_has_agreement(AgreementState.ENDED), then=Value("ended")),
                default=Value("missing"),
            ),
            agreement_ends_on=Subquery(
                bound.order_by(F("ends_on").desc(nulls_first=True)).values("ends_on")[:1]
            ),
            last_look_pk=Subquery(last_look.values("pk")[:1]),
            last_look_on=Subquery(last_look.values("happened_on")[:1]),
            last_look_evidence=Subquery(last_look.values("evidence")[:1]),
            open_duties=_count(open_duties),
            late_duties=_count(late),
            disputed_since=Subquery(disputes.values("opened_on")[:1]),
            late_since=Subquery(late.order_by("due_on").values("due_on")[:1]),
        )
        .annotate(
            is_known=Case(
                When(last_look_on__gte=known_since, then=True),
                default=False,
                output_field=BooleanField(),
            ),
            is_unsafe=Exists(wrong.filter(judgement=Judgement.UNSAFE)),
            is_wanting=Exists(wrong) | Exists(open_duties.filter(trigger=Trigger.FINDING)),
        )
        .annotate(
            condition=Case(
                When(is_unsafe=True, then=Value("unsafe")),
                When(is_wanting=True, then=Value("act")),
                When(last_look_on__isnull=True, built_on__gt=known_since, then=Value("new")),
                When(is_known=False, then=Value("unknown")),
                default=Value("good"),
            )
        )
        .order_by("code")
    )


def _has_agreement(state: str) -> Exists:
    return Exists(Agreement.objects.filter(sites=OuterRef("pk"), state=state))


def _count(rows: QuerySet) -> Coalesce:
    """How many of `rows` there are for the outer row, as a subquery that no join can multiply."""
    counted = rows.order_by().annotate(n=Func(F("pk"), function="COUNT")).values("n")
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


#: How `condition` reads, in the order of need.
CONDITION_WORDS = {
    "unsafe": _("Unsafe"),
    "act": _("Found wanting"),
    "unknown": _("Unknown"),
    "new": _("New, not looked at yet"),
    "good": _("Nothing wanting"),
}
#: How `agreement_state` reads.
AGREEMENT_WORDS = {
    "in_force": _("In force"),
    "offered": _("Offered, not signed by all"),
    "draft": _("Draft"),
    "ended": _("Ended"),
    "missing": _("None"),
}
