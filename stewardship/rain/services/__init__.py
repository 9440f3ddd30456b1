"""What may be done with rain: take readings in, note that a gauge is out, find what storms the readings make."""

from stewardship.rain.intake.ingest import add_readings, import_file, import_several
from stewardship.rain.services.declaring import declare_rain, withdraw_declared_rain
from stewardship.rain.services.files import (
    carry_on_files,
    confirm_file,
    drop_file,
    look_through,
    rows_so_far,
    say_layout,
    take_in,
    thrown_away_at,
    upload_file,
)
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
from stewardship.rain.services.undoing import undo_batch, undo_plan

__all__ = [
    "add_rain_rule",
    "add_readings",
    "ask_again",
    "carry_on_files",
    "carry_on_searches",
    "check_gauges",
    "confirm_file",
    "correct_place",
    "create_gauge",
    "declare_rain",
    "drop_file",
    "end_gauge",
    "find_again",
    "find_waiting_storms",
    "frequency_text",
    "import_file",
    "import_several",
    "keep_frequencies",
    "look_through",
    "make_reader_link",
    "make_token",
    "move_gauge",
    "note_outage",
    "push_readings",
    "rows_so_far",
    "say_layout",
    "set_aside",
    "set_readers",
    "take_in",
    "take_up_gauge",
    "thrown_away_at",
    "understand_frequencies",
    "undo_batch",
    "undo_plan",
    "update_gauge",
    "upload_file",
    "withdraw_declared_rain",
    "withdraw_frequencies",
    "withdraw_rain_rule",
    "withdraw_reader_link",
    "withdraw_token",
]
