import django_tables2 as tables
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.agreements.choices import AgreementState
from stewardship.agreements.lacks import is_incomplete, lacks
from stewardship.agreements.models import Agreement
from stewardship.common.templatetags.ui import day, state


class AgreementTable(tables.Table):
    """All agreements; expects sites, parties and signatures to be prefetched."""

    caption = gettext_lazy("Agreements")
    exportable = True

    reference = tables.LinkColumn(
        "agreements:detail", args=[tables.A("pk")], verbose_name=gettext_lazy("Reference")
    )
    instrument = tables.Column(verbose_name=gettext_lazy("Instrument"))
    state = tables.Column(verbose_name=gettext_lazy("State"))
    sites = tables.Column(orderable=False, empty_values=(), verbose_name=gettext_lazy("Sites"))
    parties = tables.Column(orderable=False, empty_values=(), verbose_name=gettext_lazy("Parties"))
    begins_on = tables.Column(verbose_name=gettext_lazy("From"), default="")
    ends_on = tables.Column(verbose_name=gettext_lazy("Until"), default="")
    missing = tables.Column(orderable=False, empty_values=(), verbose_name=gettext_lazy("Missing"))
    language = tables.Column(visible=False)
    ended_why = tables.Column(visible=False)

    class Meta:
        model = Agreement
        fields = [
            "reference",
            "instrument",
            "state",
            "sites",
            "parties",
            "begins_on",
            "ends_on",
            "missing",
        ]
        empty_text = gettext_lazy("No agreement fits.")
        order_by = "-reference"

    def __init__(self, *args, today, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def _ran_out(self, record: Agreement) -> bool:
        return bool(
            record.state == AgreementState.IN_FORCE
            and record.ends_on
            and record.ends_on <= self.today
        )

    def render_state(self, record: Agreement) -> str:
        if self._ran_out(record):
            return state("ended", _("Ran out"))
        shown = state(record.state, record.get_state_display())
        if not is_incomplete(record, on=self.today):
            return shown
        return format_html("{}<br>{}", shown, state("missing", _("Incomplete")))

    def value_state(self, record: Agreement) -> str:
        said = _("Ran out") if self._ran_out(record) else record.get_state_display()
        if is_incomplete(record, on=self.today):
            said += ", " + _("incomplete")
        return said

    def render_sites(self, record: Agreement) -> str:
        codes = [site.code for site in record.sites.all()]
        shown = ", ".join(codes[:4])
        return (
            shown
            if len(codes) <= 4
            else _("%(some)s and %(n)d more")
            % {
                "some": shown,
                "n": len(codes) - 4,
            }
        )

    def value_sites(self, record: Agreement) -> str:
        return "; ".join(site.code for site in record.sites.all())

    def render_parties(self, record: Agreement) -> str:
        return "; ".join(
            party.agency.name if party.agency else party.person.full_name
            for party in record.parties.all()
        )

    def value_parties(self, record: Agreement) -> str:
        return "; ".join(str(party) for party in record.parties.all())

    def render_begins_on(self, value) -> str:
        return day(value)

    render_ends_on = render_begins_on

    def value_begins_on(self, value) -> str:
        return value.isoformat()

    value_ends_on = value_begins_on

    def render_missing(self, record: Agreement) -> str:
        found = lacks(record, on=self.today)
        if not found:
            return ""
        return format_html(
            "<ul>{}</ul>", format_html_join("", "<li>{}</li>", ((str(one),) for one in found))
        )

    def value_missing(self, record: Agreement) -> str:
        return "; ".join(map(str, lacks(record, on=self.today)))
