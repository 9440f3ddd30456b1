from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class ClosedDoorAdapter(DefaultAccountAdapter):
    """Log-ins are handed out by a coordinator; nobody signs up alone."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
