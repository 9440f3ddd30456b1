"""What may be done with rain: take readings in, note that a gauge is out, find what storms the readings make."""

from stewardship.rain.intake.ingest import add_readings, import_file
from stewardship.rain.services.declaring import declare_rain, withdraw_declared_rain
from stewardship.rain.services.frequency import (
    frequency_text,
    keep_frequencies,
    understand_frequencies,
    withdraw_frequencies,
)
from stewardship.rain.services.gauges import (
    correct_place,
    create_gauge,
    end_gauge,
    move_gauge,
    set_readers,
    take_up_gauge,
    update_gauge,
)
from stewardship.rain.services.outages import note_outage
from stewardship.rain.services.pushing import push_readings
from stewardship.rain.services.rules import add_rain_rule, withdraw_rain_rule
from stewardship.rain.services.storms import carry_on_searches, find_again, find_waiting_storms
from stewardship.rain.services.suspicions import ask_again, check_gauges, set_aside
from stewardship.rain.services.tokens import (
    make_reader_link,
    make_token,
    withdraw_reader_link,
    withdraw_token,
)

__all__ = [
    "add_rain_rule",
    "add_readings",
    "ask_again",
    "carry_on_searches",
    "check_gauges",
    "correct_place",
    "create_gauge",
    "declare_rain",
    "end_gauge",
    "find_again",
    "find_waiting_storms",
    "frequency_text",
    "import_file",
    "keep_frequencies",
    "make_reader_link",
    "make_token",
    "move_gauge",
    "note_outage",
    "push_readings",
    "set_aside",
    "set_readers",
    "take_up_gauge",
    "understand_frequencies",
    "update_gauge",
    "withdraw_declared_rain",
    "withdraw_frequencies",
    "withdraw_rain_rule",
    "withdraw_reader_link",
    "withdraw_token",
]
