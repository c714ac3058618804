"""Growth stages as labels and scouts name them, and which comes first.

Common practice, no source: the names and their order. Zadoks numbers are written ``z37`` (cereals, grasses),
BBCH numbers ``b61``. Two scales are never compared with each other: what cannot be put in order is not known.
"""

from __future__ import annotations

import re

_ORDERS: tuple[tuple[str, ...], ...] = (
    # cucurbits
    ("preplant", "seeded", "emergence", "cotyledon", *(f"leaf_{n}" for n in range(1, 9)), "vegetative", "vining",
     "first_flower", "first_male_flower", "first_female_flower", "fruit_set", "fruit_fill", "mature", "after_harvest"),
    # corn
    ("preplant", "seeded", "emergence", *(f"v{n}" for n in range(1, 19)), "tassel_push", "tassel", "silk",
     "brown_silk", "milk", "dent", "mature", "after_harvest"),
    ("preplant", "seeded", "emergence", "vegetative", "early_whorl", "mid_whorl", "late_whorl", "tassel_push", "tassel",
     "silk", "brown_silk", "milk", "dent", "mature", "after_harvest"),
    # fruiting vegetables, beans and the rest
    ("preplant", "seeded", "emergence", "cotyledon", *(f"leaf_{n}" for n in range(1, 9)), "vegetative", "bud",
     "first_flower", "flowering", "petal_fall", "fruit_set", "pod_set", "fruit_fill", "pod_fill", "ripening",
     "mature", "after_harvest"),
)  # fmt: skip
STAGES = frozenset(stage for order in _ORDERS for stage in order)
_SCALE = re.compile(r"([zb])([0-9]{1,2})\Z")


def stages_in_order() -> tuple[str, ...]:
    """Every stage that has a name, once, roughly in order: for a list to choose from."""
    return tuple(dict.fromkeys(stage for order in _ORDERS for stage in order))


def is_stage(code: str) -> bool:
    """Whether ``code`` is a stage that can be placed in some order."""
    return code in STAGES or _SCALE.match(code) is not None


def reached(stage: str, limit: str) -> bool | None:
    """Whether ``stage`` is at or past ``limit``; ``None`` if the two cannot be put in order."""
    if stage == limit:
        return True
    here, there = _SCALE.match(stage), _SCALE.match(limit)
    if here and there:
        return int(here[2]) >= int(there[2]) if here[1] == there[1] else None
    answers = {order.index(stage) >= order.index(limit) for order in _ORDERS if stage in order and limit in order}
    return answers.pop() if len(answers) == 1 else None


def earlier(a: str | None, b: str | None) -> str | None:
    """The stage that comes first, of two that a label names as limits; the first given if they cannot be ordered."""
    if a is None or b is None:
        return a or b
    return b if reached(a, b) else a


def later(a: str | None, b: str | None) -> str | None:
    """The stage that comes last, of two that a label names as beginnings."""
    if a is None or b is None:
        return a or b
    return a if reached(a, b) else b
