"""A signed agreement to be sealed: one signature on paper with a scan, one on a screen."""

from datetime import UTC, datetime
from io import BytesIO

from PIL import Image

from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Agreement, Document
from tests.agreements.conftest import OFFERED_ON, sign

CONSENT = "I agree to sign on this screen instead of on paper, and can keep a PDF."


def png() -> bytes:
    out = BytesIO()
    Image.new("RGB", (60, 80), "white").save(out, "PNG")
    return out.getvalue()


def mixed(folk, language: str = "en") -> tuple[Agreement, Document]:
    """In force, signed by the owner on paper with a scan and by the program on a screen."""
    agreement = services.draft_agreement(
        instrument="care_agreement", sites=[folk.site], language=language
    )
    for who in ("owner", "program"):
        services.add_party(agreement=agreement, person=getattr(folk, who), capacity=who)
    document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
    sign(agreement, document, "owner", scan=png(), scan_name="page 4.png")
    sign(
        agreement,
        document,
        "program",
        method="screen",
        at=datetime(2026, 7, 15, 3, 4, 5, tzinfo=UTC),
        consent=CONSENT,
        original_kept_at="",
        on=None,
    )
    assert agreement.state == AgreementState.IN_FORCE
    return agreement, document
