"""Pages of agreements, by topic."""

from stewardship.agreements.views.as_built import as_built, seen
from stewardship.agreements.views.asked import ask, asked, asked_drop, terms
from stewardship.agreements.views.changes import consent, end, new_owner, next_one, sale, tenant_out
from stewardship.agreements.views.detail import detail
from stewardship.agreements.views.lists import AgreementList
from stewardship.agreements.views.renewals import renewal_letters, renewals
from stewardship.agreements.views.signing import document, sign

__all__ = [
    "AgreementList",
    "as_built",
    "ask",
    "asked",
    "asked_drop",
    "by_link",
    "consent",
    "detail",
    "document",
    "end",
    "let_stand",
    "link_document",
    "link_lost",
    "new_owner",
    "next_one",
    "party_act",
    "renewal_letters",
    "renewals",
    "sale",
    "seen",
    "sign",
    "sign_screen",
    "signed",
    "signing",
    "tenant_out",
    "terms",
]
