"""What happens to the works of a site: they rest, stand no more, or somebody has to put them back."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from sites.choices import Stage
from sites.models import Site
from stewardship.agreements.choices import AgreementState, ResponsibilityRole
from stewardship.agreements.models import Responsibility, RestorationClaim
from stewardship.agreements.services import claim_restoration, retire_site, settle_claim
from stewardship.agreements.services.pausing import rest_site
from stewardship.care.models import Duty
from stewardship.care.services import follow_pauses
from stewardship.common.access import coordinator_required
from stewardship.front.forms import DAY
from stewardship.front.people_life import form_page

TEMPLATE = "front/site_change.html"


class RetireForm(forms.Form):
    on = forms.DateField(label=gettext_lazy("From which day"), widget=DAY)
    why = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=200,
        help_text=gettext_lazy("E.g. “street rebuilt”, “moved to OAK-9”, “permit revoked”."),
    )


class RestForm(forms.Form):
    starts_on = forms.DateField(label=gettext_lazy("From"), widget=DAY)
    ends_on = forms.DateField(
        label=gettext_lazy("First day on which everything is as usual again"),
        widget=DAY,
        required=False,
        help_text=gettext_lazy("Empty: until somebody says so."),
    )
    why = forms.CharField(label=gettext_lazy("Why"), max_length=200)


class ClaimForm(forms.Form):
    on = forms.DateField(label=gettext_lazy("Asked on"), widget=DAY)
    against = forms.CharField(
        label=gettext_lazy("Who is asked"),
        max_length=160,
        help_text=gettext_lazy("E.g. “Gas utility”, “contractor of the new driveway”."),
    )
    what = forms.CharField(label=gettext_lazy("What has to be put back"), widget=forms.Textarea)


class SettleClaimForm(forms.Form):
    on = forms.DateField(label=gettext_lazy("Settled on"), widget=DAY)
    outcome = forms.CharField(label=gettext_lazy("How it was settled"), max_length=400)


def _site(code: str) -> Site:
    return get_object_or_404(Site, code=code)


@coordinator_required
def site_retire(request: HttpRequest, code: str) -> HttpResponse:
    """The site stands no more; says before the click what that ends."""
    site, today = _site(code), request.program.today()

    def write(typed: dict[str, Any]) -> str:
        retire_site(site=site, by=request.user, **typed)
        return _("%s is retired. Nothing is owed there any more.") % code

    return form_page(
        request,
        RetireForm(request.POST or None, initial={"on": today}),
        write,
        template=TEMPLATE,
        done=reverse("site", args=[code]),
        context={
            "site": site,
            "heading": _("%s stands no more") % code,
            "lede": _(
                "Moved, dug up, revoked, or never to be built. Its history stays in the book."
            ),
            "button": _("Retire it"),
            "soil": True,
            "effects": _retire_effects(site, today),
            "nothing": _("%s is retired already.") % code if site.stage == Stage.RETIRED else "",
        },
    )


def _retire_effects(site: Site, today) -> list[str]:
    held = Responsibility.objects.as_of(today).filter(site=site, role=ResponsibilityRole.DOES)
    who = [str(row.holder) for row in held.select_related("person", "agency", "organisation")]
    said = []
    if who:
        names = get_text_list(list(dict.fromkeys(who)), _("and"))
        said.append(_("What is owed there by %s ends that day.") % names)
    duties = Duty.objects.open().filter(site=site).count()
    if duties:
        said.append(
            ngettext("%d open duty is withdrawn.", "%d open duties are withdrawn.", duties) % duties
        )
    for agreement in site.agreements.exclude(state=AgreementState.ENDED).order_by("pk"):
        others = agreement.sites.exclude(pk=site.pk).exclude(stage=Stage.RETIRED)
        if others.exists():
            said.append(_("%s goes on at its other sites.") % agreement)
        else:
            said.append(_("%s covers nothing else and ends with it.") % agreement)
    return [*said, _("No storm opens a duty there any more.")]


@coordinator_required
def site_rest(request: HttpRequest, code: str) -> HttpResponse:
    """The site rests for a time."""
    site, today = _site(code), request.program.today()

    def write(typed: dict[str, Any]) -> str:
        rest_site(site=site, by=request.user, **typed)
        follow_pauses(on=today)
        return _("Written down: %s rests.") % code

    return form_page(
        request,
        RestForm(request.POST or None, initial={"starts_on": today}),
        write,
        template=TEMPLATE,
        done=reverse("site", args=[code]),
        context={
            "site": site,
            "heading": _("%s rests for a time") % code,
            "lede": _("The street is dug up, or the works are being rebuilt."),
            "button": _("Let it rest"),
            "effects": [
                _(
                    "Nothing is due there meanwhile; what is open is withdrawn, except what was seen unsafe."
                ),
                _("Who is responsible stays responsible, and is not written to."),
            ],
            "nothing": "" if site.stage == Stage.BUILT else _("%s is not built.") % code,
        },
    )


@coordinator_required
def claim_new(request: HttpRequest, code: str) -> HttpResponse:
    """Somebody has to put the works back."""
    site, today = _site(code), request.program.today()

    def write(typed: dict[str, Any]) -> str:
        claim = claim_restoration(site=site, by=request.user, **typed)
        return _("Written down: %s is asked to put the works back.") % claim.against

    return form_page(
        request,
        ClaimForm(request.POST or None, initial={"on": today}),
        write,
        template=TEMPLATE,
        done=reverse("site", args=[code]) + "#works",
        context={
            "site": site,
            "heading": _("Somebody has to put back %s") % code,
            "lede": _("A utility or contractor dug it up, moved or damaged it."),
            "button": _("Write it down"),
        },
    )


@coordinator_required
def claim_settle(request: HttpRequest, pk: int) -> HttpResponse:
    """They put it back, paid, or it came to nothing."""
    claim = get_object_or_404(RestorationClaim.objects.select_related("site"), pk=pk)

    def write(typed: dict[str, Any]) -> str:
        settle_claim(claim=claim, by=request.user, **typed)
        return _("Settled.")

    return form_page(
        request,
        SettleClaimForm(request.POST or None, initial={"on": request.program.today()}),
        write,
        template=TEMPLATE,
        done=reverse("site", args=[claim.site.code]) + "#works",
        context={
            "site": claim.site,
            "heading": _("Settled with %s?") % claim.against,
            "lede": claim.what,
            "button": _("Write it down"),
            "nothing": _("That is settled.") if claim.settled_on else "",
        },
    )
