"""The tags and templates that every page is made of."""

from types import SimpleNamespace

import django_tables2 as tables
import pytest
from django import forms
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory

from stewardship.common.states import MARKS, TONE_BY_STATE, TONES


def render(source: str, **context) -> str:
    return Template(source).render(Context(context))


def test_quantities_follow_the_programs_units():
    us, metric = SimpleNamespace(units="us"), SimpleNamespace(units="metric")

    assert render("{% depth 15748 %}", program=us) == "0.62 in"
    assert render("{% depth 15748 %}", program=metric) == "15.7 mm"


@pytest.mark.parametrize(
    "tag", ["depth", "depth_mm", "volume_m3", "length_m", "area_m2", "hours", "day", "moment"]
)
def test_what_is_not_known_or_not_there_says_so_to_eyes_and_ears(tag):
    for value in ("None", "nothing.of.this.kind"):
        html = render(f"{{% {tag} {value} %}}")

        assert "—" in html
        assert "not known" in html


def test_zero_is_not_unknown():
    assert render("{% depth 0 %}") == "0.00 in"


def test_a_state_is_a_mark_and_its_word():
    html = render('{% state "in_force" "in force" %}')

    assert "in force" in html
    assert "<svg" in html
    assert 'aria-hidden="true"' in html


def test_a_states_word_is_escaped():
    assert "<b>" not in render("{% state 'good' word %}", word="<b>")


def test_no_state_has_two_marks():
    assert sum(len(states) for states in TONES.values()) == len(TONE_BY_STATE)
    assert set(TONES) < set(MARKS)


class Reading(forms.Form):
    depth = forms.DecimalField(label="Depth", help_text="In inches.", min_value=0)
    note = forms.CharField(label="Note", required=False)
    kind = forms.ChoiceField(choices=[("m", "Measured"), ("t", "Trace")], widget=forms.RadioSelect)
    sure = forms.BooleanField(label="I am sure")


def test_a_refused_form_keeps_what_was_typed_and_links_each_error_to_its_field():
    html = str(Reading({"depth": "a bit", "note": "mud on the funnel"}))

    assert 'value="a bit"' in html
    assert "mud on the funnel" in html
    for target in ("id_depth", "id_kind", "id_sure"):
        assert f'href="#{target}"' in html
        assert f'id="{target}"' in html


def test_help_and_error_are_tied_to_their_field():
    html = str(Reading({"depth": "a bit"}))

    assert 'aria-describedby="id_depth_helptext id_depth_error"' in html
    assert 'id="id_depth_helptext"' in html
    assert 'id="id_depth_error"' in html
    assert 'aria-invalid="true"' in html


def test_a_fresh_form_has_no_summary():
    assert "error-summary" not in str(Reading())


class SiteTable(tables.Table):
    caption = "Sites"
    exportable = True
    code = tables.Column()
    street = tables.Column(orderable=False)

    class Meta:
        empty_text = "No site matches."


def render_table(rows: list[dict], path: str = "/sites/") -> str:
    request = RequestFactory().get(path)
    table = SiteTable(rows)
    tables.RequestConfig(request, paginate={"per_page": 2}).configure(table)
    return render_to_string("django_tables2/rillbook.html", {"table": table}, request=request)


@pytest.mark.django_db
def test_a_table_names_itself_its_order_and_its_leaves():
    rows = [{"code": f"JUN-{n}", "street": "Juniper St"} for n in range(5)]

    html = render_table(rows, "/sites/?sort=-code&q=jun")

    assert "<caption>Sites" in html
    assert 'aria-sort="descending"' in html
    assert 'data-label="Street"' in html
    assert 'aria-current="page"' in html
    assert "q=jun" in html.split('class="leaves"')[1]  # a leaf keeps the filters
    assert "_export=csv" in html


@pytest.mark.django_db
def test_an_empty_table_says_so_instead_of_showing_empty_headings():
    html = render_table([])

    assert "No site matches." in html
    assert "<table" not in html
