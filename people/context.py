from django.http import HttpRequest

from people.models import Program


def program(request: HttpRequest) -> dict[str, Program]:
    """The program, on every page."""
    return {"program": request.program if hasattr(request, "program") else Program.get()}
