"""A checked label version stays as it was checked: its guard, kept by ``audit.triggers`` with all the others.

``products.services`` offers no way to change or delete one; this is the second lock. Only the withdrawal of a
checked version may still be written.
"""

from __future__ import annotations

from apps.audit.triggers import Guard, register

GUARD = register(
    Guard(
        table="products_labelversion",
        prefix="checked_label_stays",
        refusal="a checked label never changes",
        free=("withdrawn_by_id", "withdrawn_at", "withdrawn_reason", "version"),
        once_set="checked_at",
    )
)
