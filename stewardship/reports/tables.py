from datetime import date, datetime

import django_tables2 as tables
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sites.models import Site
from stewardship.care.choices import Evidence
from stewardship.common.templatetags.ui import moment, state
from stewardship.common.written import day_text
from stewardship.reports.choices import ReportState
from stewardship.reports.duties import written
from stewardship.reports.models import Report
from stewardship.reports.standing import AGREEMENT_WORDS, CONDITION_WORDS

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


def _iso(value: date | None) -> str:
    return value.isoformat() if value else ""


class ComplianceTable(tables.Table):
    """One line per built site; rows come from `standing()`."""

    caption = _("Built sites")
    exportable = True

    code = tables.LinkColumn(
        "reports:proof",
        args=[tables.A("code")],
        verbose_name=_("Site"),
        attrs={"td": {"class": "nowrap"}},
    )
    address = tables.Column(verbose_name=_("Nearest address"))
    agency = tables.Column(accessor="agency__name", verbose_name=_("Agency"), default="")
    agreement_state = tables.Column(verbose_name=_("Agreement"))
    agreement_ends_on = tables.Column(visible=False, default="", verbose_name=_("Agreement ends"))
    last_look_on = tables.Column(verbose_name=_("Last look"), empty_values=())
    knowledge = tables.Column(visible=False, empty_values=(), verbose_name=_("Known or unknown"))
    last_look_evidence = tables.Column(verbose_name=_("Evidence"), default="")
    condition = tables.Column(verbose_name=_("As last seen"))
    open_duties = tables.Column(verbose_name=_("Open"), attrs=NUMBER)
    late_duties = tables.Column(verbose_name=_("Late"), attrs=NUMBER)
    late_since = tables.Column(visible=False, default="", verbose_name=_("Late since"))
    disputed_since = tables.Column(visible=False, default="", verbose_name=_("Disputed since"))

    class Meta:
        model = Site
        fields = [
            "code",
            "address",
            "agency",
            "agreement_state",
            "last_look_on",
            "last_look_evidence",
            "condition",
            "open_duties",
            "late_duties",
        ]
        empty_text = _("No built site fits. Take a filter away.")
        order_by = "code"

    def render_agreement_state(self, record: Site) -> str:
        mark = state(record.agreement_state, AGREEMENT_WORDS[record.agreement_state])
        if record.agreement_ends_on:
            until = gettext("until %s") % day_text(record.agreement_ends_on)
            return format_html('<span>{} <span class="note">{}</span></span>', mark, until)
        return mark

    def value_agreement_state(self, record: Site) -> str:
        return str(AGREEMENT_WORDS[record.agreement_state])

    def value_agreement_ends_on(self, record: Site) -> str:
        return _iso(record.agreement_ends_on)

    def render_late_duties(self, record: Site, value: int) -> SafeString | int:
        """What is disputed is not late; it is named apart."""
        if not record.disputed_since:
            return value
        since = gettext("disputed since %s") % day_text(record.disputed_since)
        return format_html('<span>{}<br><span class="note">{}</span></span>', value, since)

    def value_late_duties(self, value: int) -> int:
        return value

    def value_disputed_since(self, record: Site) -> str:
        return _iso(record.disputed_since)

    def value_late_since(self, record: Site) -> str:
        return _iso(record.late_since)

    def __init__(self, *args, one_agency: bool, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if one_agency:
            self.columns.hide("agency")

    def render_last_look_on(self, record: Site) -> str:
        """Known since the last look; or unknown, and how long ago that was."""
        if record.is_known:
            return gettext("known since %s") % day_text(record.last_look_on)
        if record.condition == "new":
            return gettext("never looked at")
        mark = state("unknown", gettext("unknown"))
        if record.last_look_on is None:
            return format_html(
                '<span>{} <span class="note">{}</span></span>', mark, gettext("never looked at")
            )
        last = gettext("last look %s") % day_text(record.last_look_on)
        return format_html('<span>{} <span class="note">{}</span></span>', mark, last)

    def value_last_look_on(self, record: Site) -> str:
        return _iso(record.last_look_on)

    def render_last_look_evidence(self, value: str) -> str:
        return state(value, Evidence(value).label)

    def value_last_look_evidence(self, value: str) -> str:
        return str(Evidence(value).label)

    def render_condition(self, value: str) -> str:
        return state(value, CONDITION_WORDS[value])

    def value_condition(self, value: str) -> str:
        return str(CONDITION_WORDS[value])

    def order_condition(self, queryset: QuerySet[Site], is_descending: bool) -> tuple:
        """By need rather than by letter: unsafe first."""
        places = [When(Q(condition=key), then=Value(n)) for n, key in enumerate(CONDITION_WORDS)]
        place = Case(*places, default=Value(len(places)))
        return queryset.order_by(place.desc() if is_descending else place.asc(), "code"), True

    def value_knowledge(self, record: Site) -> str:
        if record.condition == "new":
            return str(CONDITION_WORDS["new"])
        return gettext("known") if record.is_known else gettext("unknown")

    def order_last_look_on(self, queryset: QuerySet[Site], is_descending: bool) -> tuple:
        """Never looked at counts as longest ago."""
        look = F("last_look_on")
        order = look.desc(nulls_last=True) if is_descending else look.asc(nulls_first=True)
        return queryset.order_by(order, "code"), True


class ReportTable(tables.Table):
    caption = _("Reports")

    period = tables.Column(
        verbose_name=_("Period"), empty_values=(), order_by=("starts_on", "ends_on", "pk")
    )
    agency = tables.Column(
        accessor="agency__name", verbose_name=_("Sites of"), default=_("the whole program")
    )
    state = tables.Column(verbose_name=_("State"))
    requested_at = tables.Column(verbose_name=_("Asked for"))
    pages = tables.Column(verbose_name=_("Pages"), attrs=NUMBER, default="")
    file = tables.Column(verbose_name=_("File"), empty_values=(), orderable=False)

    class Meta:
        model = Report
        fields = ["period", "agency", "state", "requested_at", "pages", "file"]
        empty_text = _("No report yet.")

    def render_period(self, record: Report) -> str:
        words = f"{written(record.starts_on)} – {written(record.ends_on)}"
        url = reverse("reports:detail", args=[record.pk])
        return format_html('<a href="{}">{}</a>', url, words)

    def render_state(self, record: Report) -> str:
        mark = state(
            "ready" if record.state == ReportState.ISSUED else record.state,
            record.get_state_display(),
        )
        return (
            format_html('<span>{} <span class="note">{}</span></span>', mark, record.error)
            if record.error
            else mark
        )

    def render_requested_at(self, value: datetime) -> str:
        return moment(value)

    def render_file(self, record: Report) -> str:
        if record.state != ReportState.ISSUED:
            return ""
        url = reverse("reports:file", args=[record.pk])
        return format_html(
            '<a href="{}">{}</a>', url, gettext("PDF, %s") % record.get_language_display()
        )
