"""Two sites that are one frontage, found before either was promised or built."""

from django.db import transaction
from django.utils.translation import gettext as _

from people.choices import MergeKind
from people.merging import Outcome, locked, put_together, undo_merge
from people.models import Merge, Program, User
from sites.choices import Stage
from sites.models import Site, SiteEvent
from stewardship.common.errors import Refused

#: Facts that the site that goes gives to the one that stays where that one has none; those of a group together.
FILLS = (("lat", "lon"), ("agency_id",), ("collection_weekday",), ("cart_litres",))


def merge_sites(*, kept: Site, gone: Site, by: User | None) -> Outcome:
    """`gone` is `kept` under another code: its rows move, it is retired and points to `kept`.

    Raises
    ------
    Refused : the one that goes is more than proposed, the one that stays is retired, or either is part of a merge already.
    """
    with transaction.atomic():
        kept, gone = locked(kept, gone)
        if gone.stage != Stage.PROPOSED:
            raise Refused(
                _(
                    "%(site)s is %(stage)s: what was promised or built there cannot become another site’s. Let it stay, and let a proposed one go."
                )
                % {"site": gone.code, "stage": gone.get_stage_display().lower()}
            )
        if kept.stage == Stage.RETIRED:
            raise Refused(_("%s is retired; it cannot stay for another.") % kept.code)
        facts = {
            name: getattr(gone, name)
            for names in FILLS
            if all(getattr(kept, name) is None for name in names)
            for name in names
            if getattr(gone, name) is not None
        }
        done = put_together(
            kind=MergeKind.SITE,
            kept=kept,
            gone=gone,
            facts=facts,
            gone_facts={"stage": Stage.RETIRED, "retired_on": Program.get().today()},
            by=by,
        )
        SiteEvent.objects.create(
            site=gone,
            was=Stage.PROPOSED,
            became=Stage.RETIRED,
            why=_("The same site as %s") % kept.code,
            by=by,
        )
    return done


def undo_site_merge(*, merge: Merge, by: User | None) -> Merge:
    """Take it back, as `people.merging.undo_merge`; the site that went is proposed again."""
    with transaction.atomic():
        merge = undo_merge(merge=merge, by=by)
        SiteEvent.objects.create(
            site_id=merge.gone,
            was=Stage.RETIRED,
            became=Stage.PROPOSED,
            why=_("Two sites after all"),
            by=by,
        )
    return merge
