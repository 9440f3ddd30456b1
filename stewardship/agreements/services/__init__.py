"""What is written about agreements. Each function locks, checks the state, writes, and leaves an event."""

from stewardship.agreements.services._shared import OPEN_STATES
from stewardship.agreements.services.building import mark_built
from stewardship.agreements.services.drafting import (
    add_party,
    change_draft,
    draft_agreement,
    remove_party,
    show_duties,
)
from stewardship.agreements.services.ending import end_agreement, end_responsibility, record_sale
from stewardship.agreements.services.signing import offer_agreement, record_signature
from stewardship.agreements.standing import (
    build_blockers,
    missing_signatures,
    sites_with_nobody,
)

__all__ = [
    "OPEN_STATES",
    "add_party",
    "build_blockers",
    "change_draft",
    "draft_agreement",
    "end_agreement",
    "end_responsibility",
    "mark_built",
    "missing_signatures",
    "offer_agreement",
    "record_sale",
    "record_signature",
    "remove_party",
    "show_duties",
    "sites_with_nobody",
]
