"""Pages of agreements, by topic."""

from stewardship.agreements.views.detail import detail, end, sale
from stewardship.agreements.views.lists import AgreementList
from stewardship.agreements.views.signing import document, sign

__all__ = ["AgreementList", "detail", "document", "end", "sale", "sign"]
