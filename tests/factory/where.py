"""Sites, basins and the agreements under which they stand."""

import hashlib
from collections.abc import Iterable, Sequence
from datetime import date

from people.choices import Language
from people.models import Agency, Person
from sites.choices import InletKind, SourceClass, Stage
from sites.models import Basin, Inlet, Planting, SedimentTrap, Site
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DocumentKind,
    InstrumentKind,
    ResponsibilityRole,
    SigningMethod,
)
from stewardship.agreements.models import (
    Agreement,
    Document,
    Party,
    Responsibility,
    Signature,
    Wording,
)
from tests.factory.times import (
    LAT,
    LON,
    at,
)
from tests.factory.who import make_person


def make_site(code: str = "OAK-1", *, stage: str = Stage.PROPOSED, **fields) -> Site:
    """A site that is not built; built ones come from `make_built_site`."""
    number = code.rsplit("-", 1)[-1]
    facts = {
        "street": "Saltbush Street",
        "address": f"{number}10 Saltbush Street",
        "lat": LAT,
        "lon": LON,
        "source_class": SourceClass.QUIET,
    }
    return Site.objects.create(code=code, stage=stage, **(facts | fields))


def make_basin(site: Site, label: str = "A", *, plants: bool = True, **fields) -> Basin:
    """A basin with a curb cut, a sediment trap in it, and two kinds of plants.

    The trap is 18 × 12 in and 12 in deep, its lip 2.5 in under the inlet bottom (common practice, no source).
    """
    facts = {
        "bottom_area_m2": 3.0,
        "top_area_m2": 6.0,
        "depth_m": 0.2,
        "soak_mm_h": 40.0,
        "paved_m2": 90.0,
        "planted_catchment_m2": 20.0,
    }
    basin = Basin.objects.create(site=site, label=label, **(facts | fields))
    inlet = Inlet.objects.create(basin=basin, kind=InletKind.CURB_CUT, width_m=0.45, height_m=0.15)
    SedimentTrap.objects.create(
        inlet=inlet, length_m=0.4572, width_m=0.3048, depth_m=0.3048, lip_below_inlet_m=0.0635
    )
    if plants:
        day = date(2026, 5, 1)
        Planting.objects.create(
            basin=basin, species="blue grama", count=12, height_m=0.12, measured_on=day
        )
        Planting.objects.create(
            basin=basin, species="desert willow", count=1, height_m=1.6, measured_on=day
        )
    return basin


def make_agreement(
    sites: Iterable[Site],
    *,
    signers: Sequence[tuple[Person, str]],
    on: date,
    instrument: str = InstrumentKind.CARE_AGREEMENT,
    reference: str = "",
    agency: Agency | None = None,
    ends_on: date | None = None,
    responsible: Person | Agency | None = None,
) -> Agreement:
    """An agreement in force since `on`, signed by everybody in `signers` [(person, capacity)].

    The first signer (or `responsible`) does the work at every site from that day. `agency` is the one whose officer signs.
    """
    sites = list(sites)
    wording, _ = Wording.objects.get_or_create(
        instrument=instrument,
        language=Language.EN,
        version=1,
        defaults={
            "title": "Basin care agreement",
            "summary": "You keep the basin open to water.",
            "body": "Have counsel review.",
        },
    )
    agreement = Agreement.objects.create(
        reference=reference or f"A-{sites[0].code}-{on:%Y%m%d}",
        instrument=instrument,
        wording=wording,
        state=AgreementState.DRAFT,
    )
    agreement.sites.set(sites)
    content = b"%PDF-1.7 agreement " + agreement.reference.encode()
    document = Document.objects.create(
        agreement=agreement,
        kind=DocumentKind.TO_SIGN,
        version=1,
        file_name=f"{agreement.reference}.pdf",
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        pages=2,
        made_at=at(on, "09:00"),
    )
    for person, capacity in signers:
        party = Party.objects.create(
            agreement=agreement,
            person=person,
            capacity=capacity,
            agency=agency if capacity == Capacity.AGENCY_OFFICER else None,
        )
        Signature.objects.create(
            party=party,
            document=document,
            method=SigningMethod.PAPER,
            signed_on=on,
            typed_name=str(person),
            original_kept_at="Binder 1",
            recorded_at=at(on, "10:00"),
        )
    agreement.state, agreement.begins_on, agreement.ends_on = AgreementState.IN_FORCE, on, ends_on
    agreement.save()
    holder = responsible or signers[0][0]
    for site in sites:
        Responsibility.objects.create(
            site=site,
            role=ResponsibilityRole.DOES,
            agreement=agreement,
            starts_on=on,
            **{"agency" if isinstance(holder, Agency) else "person": holder},
        )
    return agreement


def make_built_site(
    code: str = "OAK-1",
    *,
    owner: Person | None = None,
    on: date = date(2025, 4, 1),
    built_on: date | None = None,
    basins: int = 1,
    **fields,
) -> Site:
    """A built site: care agreement signed by its owner and in force since `on`, basins accepted on `built_on` (default: `on`).

    The owner owes the work from `on`. Without `owner` one is made, reachable by e-mail.
    """
    built_on = built_on or on
    owner = owner or make_person("Ines", f"Quist {code}", email=f"owner-{code.lower()}@example.org")
    site = make_site(code, stage=Stage.AGREED, **fields)
    make_agreement([site], signers=[(owner, Capacity.OWNER)], on=on)
    for label in "ABCDEF"[:basins]:
        make_basin(site, label, phase_from=built_on)
    site.stage, site.built_on = Stage.BUILT, built_on
    site.save()
    return site
