"""What speaks against sending a message. The outbox knows addresses only; rooms above, which know who lives there, say so here."""

from collections.abc import Callable

from stewardship.outbox.models import Message

#: Gives the reason why a message may not go out; "" for none.
Objection = Callable[[Message], str]

_objections: list[Objection] = []


def ask_before_leaving(objection: Objection) -> None:
    """Have every message held against this before it leaves; registered once, when the program starts."""
    if objection not in _objections:
        _objections.append(objection)


def objection_to(message: Message) -> str:
    """Why the message may not go out, as things are now; "" when it may."""
    return next((why for ask in _objections if (why := ask(message))), "")
