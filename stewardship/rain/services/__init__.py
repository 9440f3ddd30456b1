"""What may be done with rain: take readings in, note that a gauge is out, find what storms the readings make."""

from stewardship.rain.intake.ingest import add_readings, import_file
from stewardship.rain.services.declaring import declare_rain, withdraw_declared_rain
from stewardship.rain.services.outages import note_outage
from stewardship.rain.services.storms import find_waiting_storms

__all__ = [
    "add_readings",
    "declare_rain",
    "find_waiting_storms",
    "import_file",
    "note_outage",
    "withdraw_declared_rain",
]
