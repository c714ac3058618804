"""Codes at the gates and numbers to call of the demo farm. Every number is invented (555-01xx)."""

from __future__ import annotations

from apps.safety.gate import services as gate
from apps.safety.phones import services as phones
from farmops.demo.ground import Stage

NUMBERS = (
    ("emergency", "Demo emergency line", "555-0100", "Invented. Enter your own before real use."),
    ("poison", "Demo poison line", "555-0122", "Invented. Enter your own before real use."),
    ("clinic", "Tamarack demo clinic", "555-0133", "Invented. Open day and night"),
)


def gates_and_numbers(stage: Stage) -> None:
    """A code for every block, and a short list of numbers."""
    then = stage.days_ago(-20)
    gate.issue_missing(member=stage.manager, now=then)
    for purpose, name, number, note in NUMBERS:
        values = {"purpose": purpose, "name": name, "number": number, "note": note}
        phones.add_number(member=stage.manager, values=values, now=then)
