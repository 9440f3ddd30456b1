from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from people.models import Program


class ProgramZoneMiddleware:
    """Shows every page in the program's own time zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.program = Program.get()
        with timezone.override(request.program.tz):
            return self.get_response(request)
