"""What is typed at each step of taking on a household, and ways to get to a step."""

from stewardship.agreements.models import Agreement

WHO = {
    "given_name": "Marit",
    "family_name": "Dueñas",
    "language": "en",
    "capacity": "owner",
    "channel": "email",
    "emails": "marit@example.org",
    "phones": "",
    "postal": "",
    "household_name": "",
    "household_address": "",
    "agency_office": "",
}
LANDLORD = {
    "capacity": "tenant",
    "landlord-given_name": "Iris",
    "landlord-family_name": "Vand",
    "landlord-postal": "9 Agave Court\nPalo Azul",
}
WHERE = {
    "code": "YUC-3",
    "street": "Yucca Lane",
    "address": "30 Yucca Lane",
    "lat": "34.5213",
    "lon": "-106.2451",
    "source_class": "quiet",
    "collection_weekday": "2",
    "cart_litres": "64",
}
BASIN = {
    "label": "A",
    "bottom_area_m2": "30",
    "top_area_m2": "70",
    "depth_m": "8",
    "lip_length_m": "2",
    "soak_mm_h": "1.5",
    "paved_m2": "900",
    "planted_catchment_m2": "200",
    "unpaved_curve_number": "77",
    "inlet-kind": "curb_cut",
    "inlet-width_m": "18",
    "inlet-height_m": "6",
    "inlet-trap_length_m": "18",
    "inlet-trap_width_m": "12",
    "inlet-trap_depth_m": "12",
    "inlet-trap_lip_m": "2.5",
}


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def begin(client, **changes) -> Agreement:
    response = client.post("/onboard/", WHO | changes)
    assert response.status_code == 302, [form.errors for form in response.context["page"].all]
    return Agreement.objects.order_by("-pk").first()


def at(agreement: Agreement, step: str) -> str:
    return f"/onboard/{agreement.reference}/{step}/"


def up_to_works(client, **changes) -> Agreement:
    agreement = begin(client, **changes)
    client.post(at(agreement, "where"), WHERE)
    client.post(at(agreement, "works"), BASIN)
    return agreement


def faults(response) -> dict[str, str]:
    """What the first step has to put right, by the field's name on the page."""
    return {
        form.add_prefix(name): " ".join(errors)
        for form in response.context["page"].all
        for name, errors in form.errors.items()
    }
