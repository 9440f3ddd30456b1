"""Who may see a page: strangers get 404, people without a log-in are asked to sign in."""

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse

View = Callable[..., HttpResponse]


def role_required(*roles: str) -> Callable[[View], View]:
    """Let only people with one of these roles in ("coordinator", "reviewer", "volunteer", "reader")."""

    def decorate(view: View) -> View:
        @wraps(view)
        @login_required
        def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
            if not request.user.roles() & set(roles):  # type: ignore[union-attr] # signed in by now
                raise Http404
            return view(request, *args, **kwargs)

        guarded.roles = roles  # type: ignore[attr-defined] # the access test reads which roles a page is for
        return guarded

    return decorate


coordinator_required = role_required("coordinator")
