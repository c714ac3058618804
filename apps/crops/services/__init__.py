"""What is done with crops: kinds of crop, plantings and what happens to them, scouting.

Each action is one transaction. Everything about one block is done under the lock of that block's
row, so that two people cannot plan two crops onto the same ground at once.
"""

from apps.crops.services.counting import record_count, set_threshold, withdraw_count
from apps.crops.services.kinds import add_crop, add_variety, edit_crop
from apps.crops.services.plantings import (
    call_off_planting,
    edit_planting,
    plan_planting,
    record_planting_event,
    withdraw_planting_event,
)
from apps.crops.services.scouting import record_scouting, withdraw_scouting

__all__ = [
    "add_crop",
    "add_variety",
    "call_off_planting",
    "edit_crop",
    "edit_planting",
    "plan_planting",
    "record_count",
    "record_planting_event",
    "record_scouting",
    "set_threshold",
    "withdraw_count",
    "withdraw_planting_event",
    "withdraw_scouting",
]
