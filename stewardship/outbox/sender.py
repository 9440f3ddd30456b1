"""In whose name letters go out. The outbox knows no program; the people app tells it one when Django starts."""

from collections.abc import Callable
from typing import Protocol
from zoneinfo import ZoneInfo


class Sender(Protocol):
    """What letters need to know about the program that sends them."""

    name: str
    email: str
    phone: str
    postal_address: str
    units: str
    quiet_until_hour: int
    quiet_from_hour: int

    @property
    def tz(self) -> ZoneInfo: ...


_read: list[Callable[[], Sender]] = []


def read_sender_with(reader: Callable[[], Sender]) -> None:
    """From now on, `sender()` asks this function."""
    _read[:] = [reader]


def sender() -> Sender:
    """The program as it is now: name, addresses, zone, hours for reminders."""
    return _read[0]()
