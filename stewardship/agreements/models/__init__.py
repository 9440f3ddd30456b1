"""Agreements with their instrument, parties, documents and signatures; responsibility over time."""

from stewardship.agreements.models.agreement import (
    Agreement,
    AgreementEvent,
    AgreementExternalId,
    DutyShown,
    Requirement,
)
from stewardship.agreements.models.life import Dispute, Pause, RestorationClaim
from stewardship.agreements.models.listfile import ListFile
from stewardship.agreements.models.responsibility import Responsibility
from stewardship.agreements.models.signing import (
    Acknowledgement,
    Document,
    Party,
    Signature,
    SigningLink,
)
from stewardship.agreements.models.wording import Wording

__all__ = [
    "Acknowledgement",
    "Agreement",
    "AgreementEvent",
    "AgreementExternalId",
    "Dispute",
    "Document",
    "DutyShown",
    "ListFile",
    "Party",
    "Pause",
    "Requirement",
    "Responsibility",
    "RestorationClaim",
    "Signature",
    "SigningLink",
    "Wording",
]
