"""What rows that hang on a person, household or site are called when a page counts them."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from people.merging import pointing_at

#: Model label → words; of rooms above this one too, by name only. A row of a many-to-many table has that table's label.
ROWS = {
    "people.person": _("people"),
    "people.household": _("households found to be this one"),
    "people.contactpoint_people": _("addresses"),
    "people.volunteer": _("entry as a volunteer"),
    "people.user": _("log-in"),
    "people.organisationcontact": _("roles in organisations"),
    "people.agent": _("agents"),
    "people.officechange_moved": _("offices moved along with"),
    "people.officechange_left": _("offices left"),
    "people.personexternalid": _("identifiers in other lists"),
    "sites.site": _("sites found to be this one"),
    "sites.siteparcel": _("parcels"),
    "sites.siteexternalid": _("identifiers in other lists"),
    "sites.basin": _("basins"),
    "rain.gauge_readers": _("gauges they read"),
    "rain.readerlink": _("links for readings"),
    "rain.readingbatch": _("batches of readings"),
    "rain.siterain": _("storms there"),
    "rain.declaredrain": _("declared rain"),
    "agreements.agreement_sites": _("agreements"),
    "agreements.pause": _("pauses"),
    "agreements.dispute": _("disputes"),
    "agreements.restorationclaim": _("claims for putting works back"),
    "agreements.responsibility": _("responsibilities"),
    "agreements.party": _("signatures and promises"),
    "agreements.signature": _("signatures given for others"),
    "care.duty": _("duties"),
    "care.reminder": _("reminders"),
    "care.answer": _("answers"),
    "care.flowreport": _("reports of water"),
    "care.contactcheck": _("contacts to verify"),
    "care.rainquestion": _("questions about rain"),
    "care.visit": _("visits"),
}


def row_words(model: type[models.Model]) -> str:
    return str(ROWS.get(model._meta.label_lower, model._meta.verbose_name_plural))


def hanging_on(entry: models.Model) -> dict[str, int]:
    """What hangs on an entry, and how many rows of it."""
    counts: dict[str, int] = {}
    for model, name in pointing_at(type(entry)):
        number = model._base_manager.filter(**{name: entry}).count()
        if number:
            words = row_words(model)
            counts[words] = counts.get(words, 0) + number
    return counts


def stayed_words(stayed: list[tuple[type[models.Model], Any]]) -> list[str]:
    """Rows that could not move, each kind once."""
    found: dict[str, list[str]] = {}
    for model, row in stayed:
        named = row
        if model._meta.auto_created:  # of a many-to-many table the other side is what people know
            named = next(
                getattr(row, f.name)
                for f in model._meta.concrete_fields
                if f.is_relation and not hasattr(f.related_model, "merged_into")
            )
        found.setdefault(row_words(model), []).append(" ".join(str(named).split()))
    return [f"{words}: {', '.join(names)}" for words, names in found.items()]
