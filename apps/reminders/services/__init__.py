"""Telling people, what they wish to hear, and the sweep that finds what is due and sends it."""

from apps.reminders.services.endpoints import add_endpoint, new_secret, turn_endpoint
from apps.reminders.services.lease import hold_lease, release_lease
from apps.reminders.services.own import close_calendar, mark_all_seen, mark_seen, open_calendar, set_wishes
from apps.reminders.services.sweeping import Swept, sweep
from apps.reminders.services.telling import tell, withdraw

__all__ = [
    "Swept",
    "add_endpoint",
    "close_calendar",
    "hold_lease",
    "mark_all_seen",
    "mark_seen",
    "new_secret",
    "open_calendar",
    "release_lease",
    "set_wishes",
    "sweep",
    "tell",
    "turn_endpoint",
    "withdraw",
]
