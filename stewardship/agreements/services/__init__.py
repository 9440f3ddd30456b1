"""What is written about agreements. Each function locks, checks the state, writes, and leaves an event."""

from stewardship.agreements.services._shared import OPEN_STATES
from stewardship.agreements.services.as_built import (
    acknowledge,
    as_built_of,
    differs,
    write_as_built,
)
from stewardship.agreements.services.building import (
    claim_restoration,
    mark_built,
    retire_site,
    settle_claim,
)
from stewardship.agreements.services.drafting import (
    add_party,
    change_draft,
    draft_agreement,
    remove_party,
    show_duties,
)
from stewardship.agreements.services.ending import (
    end_agreement,
    end_responsibility,
    record_tenant_out,
    release,
    withdraw_consent,
)
from stewardship.agreements.services.links import send_link
from stewardship.agreements.services.offering import let_stand, offer_agreement
from stewardship.agreements.services.parties import ask_again, decline, let_sign
from stewardship.agreements.services.renewing import (
    LettersSent,
    people_to_ask,
    roll_on,
    send_renewal_letters,
)
from stewardship.agreements.services.requirements import (
    add_requirement,
    drop_requirement,
    meet_requirement,
)
from stewardship.agreements.services.selling import Sold, name_new_owner, record_sale
from stewardship.agreements.services.signing import record_signature
from stewardship.agreements.services.superseding import renew_agreement, successor
from stewardship.agreements.standing import (
    build_blockers,
    missing_signatures,
    sites_with_nobody,
)

__all__ = [
    "OPEN_STATES",
    "LettersSent",
    "Sold",
    "acknowledge",
    "add_party",
    "add_requirement",
    "as_built_of",
    "ask_again",
    "build_blockers",
    "change_draft",
    "claim_restoration",
    "decline",
    "differs",
    "draft_agreement",
    "drop_requirement",
    "end_agreement",
    "end_responsibility",
    "let_sign",
    "let_stand",
    "mark_built",
    "meet_requirement",
    "missing_signatures",
    "name_new_owner",
    "offer_agreement",
    "people_to_ask",
    "record_sale",
    "record_signature",
    "record_tenant_out",
    "release",
    "remove_party",
    "renew_agreement",
    "retire_site",
    "roll_on",
    "send_link",
    "send_renewal_letters",
    "settle_claim",
    "show_duties",
    "sites_with_nobody",
    "successor",
    "withdraw_consent",
    "write_as_built",
]
