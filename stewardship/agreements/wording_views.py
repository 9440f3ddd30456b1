"""The texts of agreements: which are in use, writing the next version, what changed."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from people.choices import Language
from stewardship.agreements.choices import InstrumentKind
from stewardship.agreements.comparing import changes
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Wording
from stewardship.agreements.services import wordings
from stewardship.agreements.texts import PLACEHOLDERS, blocks, check_placeholders, stands_for
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class WordingForm(forms.ModelForm):
    class Meta:
        model = Wording
        fields = ["title", "summary", "body"]
        widgets = {
            "summary": forms.Textarea(attrs={"rows": 8}),
            "body": forms.Textarea(attrs={"rows": 28}),
        }
        help_texts = {
            "summary": gettext_lazy("One point a line, in everyday words."),
            "body": gettext_lazy(
                "An empty line parts paragraphs; a line that starts with “# ” is a heading."
            ),
        }

    def _clean_text(self, field: str) -> str:
        text = self.cleaned_data[field]
        try:
            check_placeholders(text)
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return text

    def clean_title(self) -> str:
        return self._clean_text("title")

    def clean_summary(self) -> str:
        return self._clean_text("summary")

    def clean_body(self) -> str:
        return self._clean_text("body")

    def _post_clean(self) -> None:
        """The service writes; the row at hand stays as it was."""


class UseForm(forms.Form):
    on = forms.DateField(
        label=gettext_lazy("In use from"),
        widget=DAY,
        help_text=gettext_lazy("Documents made from that day bear this wording."),
    )


class ReviewForm(forms.Form):
    by_whom = forms.CharField(label=gettext_lazy("Reviewed by"), max_length=160)
    reviewed_on = forms.DateField(label=gettext_lazy("On"), widget=DAY)


@coordinator_required
@require_GET
def wording_list(request: HttpRequest) -> HttpResponse:
    """Every instrument with its text in each language: the one in use, and the one being written."""
    today = request.program.today()
    rows = list(Wording.objects.defer("body").order_by("-version"))
    lines = []
    for kind in InstrumentKind:
        for language in Language:
            texts = [w for w in rows if (w.instrument, w.language) == (kind, language)]
            used = [w for w in texts if w.in_use_since and w.in_use_since <= today]
            lines.append(
                {
                    "kind": kind,
                    "language": language,
                    "used": used[0] if used else None,
                    "coming": [w for w in texts if w.in_use_since and w.in_use_since > today],
                    "writing": next((w for w in texts if w.in_use_since is None), None),
                }
            )
    _mark_behind(lines)
    return render(request, "agreements/wordings.html", {"lines": lines})


def _mark_behind(lines: list[dict[str, Any]]) -> None:
    """A translation whose version was put to use before the English one it follows may say something else."""
    english = {line["kind"]: line["used"] for line in lines if line["language"] == Language.EN}
    for line in lines:
        source, used = english[line["kind"]], line["used"]
        line["behind"] = bool(
            used and source and used != source and used.in_use_since < source.in_use_since
        )


@coordinator_required
@require_GET
def wording(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, get_object_or_404(Wording, pk=pk))


def _page(
    request: HttpRequest, found: Wording, status: int = 200, **bound: forms.Form
) -> HttpResponse:
    today = request.program.today()
    before = (
        Wording.objects.filter(
            instrument=found.instrument, language=found.language, version__lt=found.version
        )
        .order_by("-version")
        .first()
    )
    context = {
        "wording": found,
        "points": [line for line in found.summary.splitlines() if line.strip()],
        "blocks": _as_read(found),
        "unnamed": _unnamed(found),
        "before": before,
        "changes": changes(before.body, found.body) if before else [],
        "made_in": found.agreements.count(),
        "today": today,
        "versions": Wording.objects.filter(instrument=found.instrument, language=found.language)
        .defer("body")
        .order_by("-version"),
        "use_form": UseForm(initial={"on": today}),
        "review_form": ReviewForm(initial={"reviewed_on": today}),
    }
    return render(request, "agreements/wording.html", context | bound, status=status)


def _as_read(found: Wording) -> list[Any]:
    """The text as it will be read, with what each placeholder stands for in its place."""
    with translation.override(found.language):
        values = {name: f"[{stands_for(name)}]" for name in PLACEHOLDERS}
    return blocks(found.body, values)


def _unnamed(found: Wording) -> list[str]:
    """Placeholders that an agreement of this kind cannot well do without, and that the text lacks."""
    needed = ["parties"] + (["sites"] if INSTRUMENTS[found.instrument].covers_sites else [])
    return [f"{{{name}}}: {stands_for(name)}" for name in needed if f"{{{name}}}" not in found.body]


@coordinator_required
def wording_edit(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Wording, pk=pk)
    form = WordingForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        try:
            wordings.write_wording(wording=found, **form.cleaned_data)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Saved. Nobody is offered it before it is put to use."))
            return redirect("agreements:wording", pk=pk)
    return render(
        request,
        "agreements/wording_edit.html",
        {
            "form": form,
            "wording": found,
            "placeholders": [(name, stands_for(name)) for name in PLACEHOLDERS],
        },
        status=422 if form.errors else 200,
    )


@coordinator_required
@require_POST
def wording_next(request: HttpRequest, instrument: str, language: str) -> HttpResponse:
    if instrument not in InstrumentKind or language not in Language:
        raise Http404
    begun = wordings.begin_wording(instrument=instrument, language=language, by=request.user)
    return redirect("agreements:wording_edit", pk=begun.pk)


@coordinator_required
@require_POST
def wording_use(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Wording, pk=pk)
    form = UseForm(request.POST)
    return _act(
        request,
        found,
        form,
        "use_form",
        lambda: wordings.use_wording(wording=found, on=form.cleaned_data["on"]),
        _("Version %d is in use from then on.") % found.version,
    )


@coordinator_required
@require_POST
def wording_review(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Wording, pk=pk)
    form = ReviewForm(request.POST)
    return _act(
        request,
        found,
        form,
        "review_form",
        lambda: wordings.note_review(
            wording=found,
            by_whom=form.cleaned_data["by_whom"],
            on=form.cleaned_data["reviewed_on"],
        ),
        _("The review is written down."),
    )


@coordinator_required
@require_POST
def wording_drop(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Wording, pk=pk)
    try:
        wordings.drop_wording(wording=found)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("agreements:wording", pk=pk)
    messages.success(request, _("Version %d is thrown away.") % found.version)
    return redirect("agreements:wordings")


def _act(
    request: HttpRequest,
    found: Wording,
    form: forms.Form,
    name: str,
    write: Callable[[], object],
    done: str,
) -> HttpResponse:
    if form.is_valid():
        try:
            write()
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, done)
            return redirect("agreements:wording", pk=found.pk)
    return _page(request, found, status=422, **{name: form})
