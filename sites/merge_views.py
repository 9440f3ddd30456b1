"""Two sites that are one frontage: beside each other, which stays, and back."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from people.choices import MergeKind
from people.models import Merge
from people.views.merges import FOUND, Choice, same_page, undone
from sites.alike import sites_alike
from sites.filters import site_words
from sites.merging import merge_sites, undo_site_merge
from sites.models import Site
from stewardship.common.access import coordinator_required


@coordinator_required
def same_site(request: HttpRequest, code: str) -> HttpResponse:
    """Which other entry is the same frontage."""
    site = get_object_or_404(Site.objects.known(), code=code)
    known = Site.objects.known().exclude(pk=site.pk)
    words = request.GET.get("q", "").split()
    alike = sites_alike(address=site.address, lat=site.lat, lon=site.lon, but=site)
    found = site_words(known, words)[:FOUND] if words else []
    return same_page(
        request,
        entry=site,
        known=known,
        key="code",
        choices=[Choice(one.site, one.words) for one in alike] + [Choice(s, []) for s in found],
        facts=site_facts,
        merge=merge_sites,
        page="site",
        crumb=("sites:list", _("Sites")),
    )


def site_facts(site: Site) -> list[tuple[str, str]]:
    """What is written about a site, as rows to compare."""
    return [
        (_("Stage"), site.get_stage_display()),
        (_("Street"), site.street),
        (_("Nearest address"), site.address),
        (_("Place"), f"{site.lat:.5f}, {site.lon:.5f}" if site.has_place else ""),
        (_("Agency"), str(site.agency or "")),
        (_("What the street drains"), site.get_source_class_display()),
        (_("Agreements"), ", ".join(str(one) for one in site.agreements.all())),
    ]


@coordinator_required
@require_POST
def merge_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a merge of sites back."""
    merge = get_object_or_404(Merge, pk=pk, kind=MergeKind.SITE)
    return undone(request, merge, undo_site_merge)
