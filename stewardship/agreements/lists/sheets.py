"""The lists and their columns. Pure.

Names of sheets and columns are the same in every language, so that a list written out in one comes in again in another.
Quantities are in the unit that the column's note says; a cell may name another one: "8 in", "90 ft2".
"""

from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

#: Under this name a list that was written out here says whose it is.
OWN_LIST = "Rillbook"


def person_key(person: Any) -> str:
    """What a list that is written out here calls somebody."""
    return f"P{person.pk}"


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    note: str | Promise
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """One list. `order`: lists are taken in in this order, because later ones name rows of earlier ones."""

    name: str
    title: Promise
    columns: tuple[Column, ...]

    @property
    def needed(self) -> list[str]:
        return [column.name for column in self.columns if column.needed]

    @property
    def names(self) -> list[str]:
        return [column.name for column in self.columns]


_DAY = _("a day, e.g. 2026-07-14")
_SEVERAL = _("several are parted by “;”")

SHEETS: dict[str, Sheet] = {
    sheet.name: sheet
    for sheet in (
        Sheet(
            "people",
            _("People"),
            (
                Column("person", _("what your list calls them: a number or short name"), True),
                Column("given_name", _("one name is enough"), True),
                Column("family_name", ""),
                Column("language", _("en or es")),
                Column("channel", _("how they want to hear: email, text, letter or none")),
                Column("emails", _SEVERAL),
                Column("phones", _SEVERAL),
                Column("postal", _("postal address; lines are parted by “;”")),
                Column("household", _("as you would say it: “Quist and Amaro”")),
                Column("household_address", ""),
                Column("agency", _("the agency’s short name")),
                Column("office", ""),
            ),
        ),
        Sheet(
            "sites",
            _("Sites"),
            (
                Column("site", _("the site’s code; it stays for good"), True),
                Column("street", "", True),
                Column("address", _("nearest address"), True),
                Column("lat", _("decimal degrees")),
                Column("lon", _("decimal degrees, west is negative")),
                Column("agency", _("short name of the agency that owns the ground")),
                Column("drains", _("quiet, busy or hot_spot")),
                Column("collection_day", _("1 Monday … 7 Sunday")),
                Column("cart", _("litres")),
                Column("parcels", _("number, or number/county; several are parted by “;”")),
                Column("other_ids", _("whose list: identifier; several are parted by “;”")),
                Column("built_on", _DAY),
            ),
        ),
        Sheet(
            "basins",
            _("Basins"),
            (
                Column("site", "", True),
                Column("basin", _("its label, e.g. A"), True),
                Column("bottom_area", "m²", True),
                Column("top_area", "m²", True),
                Column("depth", "m", True),
                Column("lip_length", "m"),
                Column("soak", "mm/h", True),
                Column("paved", _("m² of street and roof that drain to it"), True),
                Column("unpaved", "m²"),
                Column("unpaved_curve_number", ""),
                Column("accepted_on", _DAY),
            ),
        ),
        Sheet(
            "inlets",
            _("Inlets"),
            (
                Column("site", "", True),
                Column("basin", "", True),
                Column("inlet", _("1, 2, … at this basin"), True),
                Column("kind", _("curb_cut or curb_core"), True),
                Column("width", _("m; of a core its diameter"), True),
                Column("height", "m"),
                Column("gutter_slope_percent", ""),
                Column("cross_slope_percent", ""),
                Column("trap_length", "m"),
                Column("trap_width", "m"),
                Column("trap_depth", "m"),
                Column("trap_lip_below_inlet", "m"),
            ),
        ),
        Sheet(
            "agreements",
            _("Agreements"),
            (
                Column("agreement", _("its reference"), True),
                Column(
                    "instrument", _("covenant, licence, care_agreement, memorandum or helper"), True
                ),
                Column("language", _("en or es")),
                Column("sites", _("codes; several are parted by “;”")),
                Column("begins_on", _DAY),
                Column("ends_on", _("the first day on which it binds nobody any more")),
                Column("ended_why", ""),
                Column("paper_kept_at", _("where the signed paper is"), True),
                Column("other_ids", _("whose list: identifier; several are parted by “;”")),
            ),
        ),
        Sheet(
            "signers",
            _("Signers"),
            (
                Column("agreement", "", True),
                Column("person", _("as in the list of people"), True),
                Column(
                    "capacity",
                    _("owner, tenant, landlord, agency_officer, helper or program"),
                    True,
                ),
                Column("signed_on", _DAY),
                Column("name_as_signed", ""),
                Column("agency", _("of an officer")),
                Column("organisation", _("that they sign for")),
            ),
        ),
    )
}
