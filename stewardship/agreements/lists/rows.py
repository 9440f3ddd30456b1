"""What one row of each list writes. Each function returns "new", "changed" or "same" ("" for nothing to tell), or refuses."""

from typing import Any

from django.utils.translation import gettext as _

from people.choices import Channel, ContactKind, Language
from people.models import ContactPoint, Household, Organisation, Person, PersonExternalId
from people.services import add_person, check_contact, household_at, update_person
from sites import services as site_services
from sites.choices import InletKind, SourceClass, Stage
from sites.models import Parcel, Site, SiteExternalId, SiteParcel
from stewardship.agreements import services
from stewardship.agreements.choices import Capacity, InstrumentKind
from stewardship.agreements.lists import cells
from stewardship.agreements.lists.reading import Row
from stewardship.agreements.lists.sheets import OWN_LIST, person_key
from stewardship.agreements.lists.taking import Fault, Taking, same_name
from stewardship.agreements.models import Agreement, AgreementExternalId
from stewardship.agreements.services.bringing_in import Signed, bring_in
from stewardship.common.errors import Refused

#: [m] A lip that is not told is taken to lie so far below the inlet (2 in, common practice).
USUAL_LIP_BELOW_M = 0.0508


def _changed(row: Any, facts: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in facts.items() if getattr(row, name) != value}


# -- people -----------------------------------------------------------------------------------------------------
def person(taking: Taking, row: Row) -> str:
    key = taking.text(row, "person", longest=80)
    taking.once(row, key, "person")
    contacts = _contacts(row)
    given = taking.text(row, "given_name", longest=80)
    family = taking.text(row, "family_name", longest=80)
    channel = taking.cell(row, "channel", cells.one_of, known=Channel.values)
    if not channel:
        channel = _channel_for(contacts)
    facts = {
        "given_name": given,
        "family_name": family,
        "language": taking.cell(
            row, "language", cells.one_of, known=Language.values, usual=Language.EN
        ),
        "channel": channel,
        "household": _household(taking, row),
        "agency": taking.agency(row),
        "agency_office": taking.text(row, "office", longest=120),
    }
    found = _known(taking, key, given, family, contacts)
    if found is None:
        taking.people[key.casefold()] = made = add_person(contacts=contacts, **facts)
        _call(taking, made, key)
        return "new"
    have = {(p.kind, p.normal) for p in found.contact_points.all() if not p.dead_since}
    told = {(kind, ContactPoint.normalise(kind, value)) for kind, value in contacts}
    new = _changed(found, facts)
    if new or not told <= have:
        # a list adds addresses; one that it does not name may have been given to us since
        kept = [(p.kind, p.value) for p in found.contact_points.all() if not p.dead_since]
        update_person(person=found, contacts=[*kept, *contacts], **new)
    taking.people[key.casefold()] = found
    _call(taking, found, key)
    return "changed" if new or not told <= have else "same"


def _contacts(row: Row) -> list[tuple[str, str]]:
    found = []
    for column, kind in (("emails", ContactKind.EMAIL), ("phones", ContactKind.PHONE)):
        for value in cells.several(row[column]):
            try:
                found.append((kind, check_contact(kind, value)))
            except Refused as refusal:
                raise Fault(column, str(refusal)) from refusal
    if row["postal"]:
        found.append((ContactKind.POSTAL, "\n".join(cells.several(row["postal"]))))
    return found


def _channel_for(contacts: list[tuple[str, str]]) -> str:
    kinds = {kind for kind, _value in contacts}
    if ContactKind.EMAIL in kinds:
        return Channel.EMAIL
    return Channel.LETTER if ContactKind.POSTAL in kinds else Channel.NONE


def _household(taking: Taking, row: Row) -> Household | None:
    name = taking.text(row, "household", longest=120)
    if not name:
        return None
    address = taking.text(row, "household_address")
    if not address:
        raise Fault("household_address", _("A household has an address."))
    return household_at(name=name, address=address)


def _known(
    taking: Taking, key: str, given: str, family: str, contacts: list[tuple[str, str]]
) -> Person | None:
    """By the list's own identifier; else by name together with an address. A name alone, or an address alone, is not enough."""
    if taking.kept_by:
        link = PersonExternalId.objects.filter(kept_by=taking.kept_by, value=key).first()
        if link:
            return link.person
    if taking.kept_by == OWN_LIST and key[1:].isdecimal():
        own = Person.objects.known().filter(pk=int(key[1:])).first()
        if own and key == person_key(own) and same_name(own, given, family):
            return own
    normals = [ContactPoint.normalise(kind, value) for kind, value in contacts]
    near = Person.objects.known().filter(contact_points__normal__in=normals).distinct()
    fitting = [one for one in near if same_name(one, given, family)]
    if len(fitting) > 1:
        raise Fault("person", _("Several people in the book have this name and address."))
    return fitting[0] if fitting else None


def _call(taking: Taking, found: Person, key: str) -> None:
    if taking.kept_by and not (taking.kept_by == OWN_LIST and key == person_key(found)):
        PersonExternalId.objects.get_or_create(
            kept_by=taking.kept_by, value=key, defaults={"person": found}
        )


# -- sites ------------------------------------------------------------------------------------------------------
def site(taking: Taking, row: Row) -> str:
    code = taking.text(row, "site", longest=16)
    taking.once(row, code, "site")
    if not code.replace("-", "").replace("_", "").isalnum() or not code.isascii():
        raise Fault("site", _("Use letters, digits and hyphens only, e.g. OAK-12."))
    weekday = taking.cell(row, "collection_day", cells.whole)
    if weekday is not None and not 1 <= weekday <= 7:
        raise Fault("collection_day", _("Days of the week are 1 (Monday) to 7 (Sunday)."))
    cart = taking.cell(row, "cart", cells.number, kind="l")
    facts = {
        "street": taking.text(row, "street", longest=120),
        "address": taking.text(row, "address"),
        "lat": _degrees(taking, row, "lat", 90),
        "lon": _degrees(taking, row, "lon", 180),
        "agency": taking.agency(row),
        "source_class": taking.cell(
            row, "drains", cells.one_of, known=SourceClass.values, usual=SourceClass.QUIET
        ),
        "collection_weekday": None if weekday is None else weekday - 1,
        "cart_litres": None if cart is None else round(cart),
    }
    found = Site.objects.filter(code__iexact=code).first()
    what = "same"
    if found is None:
        found, what = site_services.create_site(code=code, by=taking.by, **facts), "new"
    elif _changed(found, facts):
        site_services.update_site(site=found, by=taking.by, **facts)
        what = "changed"
    if _parcels(found, row) | _other_ids(taking, row, SiteExternalId, site=found):
        return "new" if what == "new" else "changed"
    return what


def _degrees(taking: Taking, row: Row, column: str, most: int) -> float | None:
    value = taking.cell(row, column, cells.number)
    if value is not None and abs(value) > most:
        raise Fault(column, _("Degrees run from −%(most)d to %(most)d.") % {"most": most})
    return value


def _parcels(site: Site, row: Row) -> bool:
    added = False
    for piece in cells.several(row["parcels"]):
        number, _slash, county = (part.strip() for part in piece.partition("/"))
        parcel, _new = Parcel.objects.get_or_create(number=number, county=county)
        _along, made = SiteParcel.objects.get_or_create(site=site, parcel=parcel)
        added = added or made
    return added


def _other_ids(taking: Taking, row: Row, model: Any, **owner: Any) -> bool:
    added = False
    for piece in cells.several(row["other_ids"]):
        kept_by, colon, value = (part.strip() for part in piece.rpartition(":"))
        if not colon or not kept_by or not value:
            raise Fault(
                "other_ids", _("Write whose list it is before a colon: “assessor: 12-345”.")
            )
        link, made = model.objects.get_or_create(kept_by=kept_by, value=value, defaults=owner)
        ((name, owned),) = owner.items()
        if getattr(link, name) != owned:
            raise Fault("other_ids", _("“%s” already stands for another one.") % piece)
        added = added or made
    return added


def build(taking: Taking, row: Row) -> str:
    """The day of acceptance, once everything else is in: through the same gate as on the site's page."""
    found = taking.site(row["site"], "site")
    on = taking.day(row, "built_on")
    if found.stage in (Stage.BUILT, Stage.RETIRED):
        if found.built_on != on:
            raise Fault("built_on", _("%s has another day in the book.") % found.code)
        return ""
    try:
        services.mark_built(site=found, on=on, by=taking.by)
    except Refused as refusal:
        raise Fault("built_on", str(refusal)) from refusal
    return ""


# -- basins and inlets ------------------------------------------------------------------------------------------
def basin(taking: Taking, row: Row) -> str:
    where = taking.site(taking.text(row, "site"), "site")
    label = taking.text(row, "basin", longest=24)
    taking.once(row, f"{where.code} {label}", "basin")
    facts: dict[str, Any] = {
        name: taking.cell(row, column, cells.number, kind=kind)
        for column, name, kind in (
            ("bottom_area", "bottom_area_m2", "m2"),
            ("top_area", "top_area_m2", "m2"),
            ("depth", "depth_m", "m"),
            ("soak", "soak_mm_h", "mm/h"),
            ("paved", "paved_m2", "m2"),
            ("lip_length", "lip_length_m", "m"),
            ("unpaved", "planted_catchment_m2", "m2"),
            ("unpaved_curve_number", "unpaved_curve_number", ""),
        )
        if row[column] or column in ("bottom_area", "top_area", "depth", "soak", "paved")
    }
    if not facts["top_area_m2"] >= facts["bottom_area_m2"] > 0:
        raise Fault("top_area", _("A basin is no smaller at its lip than at its bottom."))
    accepted = taking.day(row, "accepted_on")
    if accepted:
        facts["phase_from"] = accepted
    found = where.basins.filter(label__iexact=label).first()
    if found is None:
        site_services.add_basin(site=where, label=label, **facts)
        return "new"
    new = _changed(found, facts)
    if new:
        site_services.update_basin(basin=found, **new)
    return "changed" if new else "same"


def inlet(taking: Taking, row: Row) -> str:
    where = taking.basin(row)
    place = taking.cell(row, "inlet", cells.whole)
    taking.once(row, f"{where} {place}", "inlet")
    have = list(where.inlets.order_by("pk"))
    if not 1 <= place <= len(have) + 1:
        raise Fault("inlet", _("The next inlet of this basin is number %d.") % (len(have) + 1))
    kind = taking.cell(row, "kind", cells.one_of, known=InletKind.values)
    height = taking.cell(row, "height", cells.number, kind="m")
    if (kind == InletKind.CURB_CUT) != (height is not None):
        raise Fault(
            "height", _("A curb cut has a width and a height, a curb core a diameter only.")
        )
    facts = {
        "kind": kind,
        "width_m": taking.cell(row, "width", cells.number, kind="m"),
        "height_m": height,
        "gutter_slope_percent": taking.cell(row, "gutter_slope_percent", cells.number),
        "cross_slope_percent": taking.cell(row, "cross_slope_percent", cells.number),
    }
    trap = _trap(taking, row)
    if place > len(have):
        site_services.add_inlet(basin=where, trap=trap, **facts)
        return "new"
    found = have[place - 1]
    old = getattr(found, "trap", None)
    new = bool(_changed(found, facts) or (trap and (old is None or _changed(old, trap))))
    if new:
        site_services.update_inlet(inlet=found, trap=trap, **facts)
    return "changed" if new else "same"


def _trap(taking: Taking, row: Row) -> dict[str, float] | None:
    sizes = {
        name: taking.cell(row, f"trap_{name}", cells.number, kind="m")
        for name in ("length", "width", "depth", "lip_below_inlet")
    }
    lip = sizes.pop("lip_below_inlet")
    if all(size is None for size in sizes.values()) and lip is None:
        return None
    missing = next((name for name, size in sizes.items() if size is None), None)
    if missing:
        raise Fault(f"trap_{missing}", _("A trap has length, width and depth."))
    return {f"{name}_m": size for name, size in sizes.items()} | {
        "lip_below_inlet_m": USUAL_LIP_BELOW_M if lip is None else lip
    }


# -- agreements -------------------------------------------------------------------------------------------------
def agreement(taking: Taking, row: Row) -> str:
    reference = taking.text(row, "agreement", longest=24)
    taking.once(row, reference, "agreement")
    kind = taking.cell(row, "instrument", cells.one_of, known=InstrumentKind.values)
    sites = [taking.site(code, "sites") for code in cells.several(row["sites"])]
    begins, ends = taking.day(row, "begins_on"), taking.day(row, "ends_on")
    signed = [_signed(taking, one) for one in taking.signers[reference.casefold()]]
    found = Agreement.objects.filter(reference__iexact=reference).first()
    if found is not None:
        if _differs(found, kind, sites, begins, ends, signed):
            raise Fault(
                "agreement",
                _("%s is in the book and says something else; what was signed no list changes.")
                % found.reference,
            )
        added = _other_ids(taking, row, AgreementExternalId, agreement=found)
        return "changed" if added else "same"
    made = bring_in(
        reference=reference,
        instrument=kind,
        language=taking.cell(
            row, "language", cells.one_of, known=Language.values, usual=Language.EN
        ),
        sites=sites,
        signed=signed,
        kept_at=taking.text(row, "paper_kept_at"),
        begins_on=begins,
        ends_on=ends,
        ended_why=taking.text(row, "ended_why"),
        source=f"{taking.kept_by} · {row.line}",
        by=taking.by,
    )
    _other_ids(taking, row, AgreementExternalId, agreement=made)
    return "new"


def _signed(taking: Taking, row: Row) -> Signed:
    """One signer. What is wrong there is told with the agreement, naming the line."""
    try:
        capacity = taking.cell(row, "capacity", cells.one_of, known=Capacity.values)
        name = taking.text(row, "organisation", longest=160)
        organisation = Organisation.objects.filter(name__iexact=name).first() if name else None
        if name and organisation is None:
            raise Fault("organisation", _("There is no organisation “%s” in the book.") % name)
        return Signed(
            person=taking.person(taking.text(row, "person"), "person"),
            capacity=capacity,
            signed_on=taking.day(row, "signed_on"),
            typed_name=taking.text(row, "name_as_signed", longest=160),
            agency=taking.agency(row),
            organisation=organisation,
        )
    except Fault as fault:
        raise Fault(
            "agreement",
            _("Signers, line %(line)d, %(column)s: %(why)s")
            % {"line": row.line, "column": fault.column, "why": fault.words},
        ) from fault


def _differs(
    found: Agreement,
    kind: str,
    sites: list[Site],
    begins: Any,
    ends: Any,
    signed: list[Signed],
) -> bool:
    parties = {
        (p.person_id, p.capacity, p.signature.signed_on if hasattr(p, "signature") else None)
        for p in found.parties.select_related("signature")
    }
    return (
        found.instrument != kind
        or {one.pk for one in sites} != set(found.sites.values_list("pk", flat=True))
        or bool(begins and begins != found.begins_on)
        or bool(ends and ends != found.ends_on)
        or {(one.person.pk, one.capacity, one.signed_on) for one in signed} != parties
    )


TAKE = {
    "people": person,
    "sites": site,
    "basins": basin,
    "inlets": inlet,
    "agreements": agreement,
}
