"""What to do instead: the nearest lawful change, worked out and checked again before it is offered.

A suggestion is a set of changes under which the check has no refusal left on any block. What still asks for
a reason stays with it, so nobody is surprised later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from apps.spraying.rules.attempt import Attempt, Case, Change, Choices, OnShelf, Turn
from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.turns import TURNS
from farmops.errors import Finding, needing_reason

__all__ = ["Change", "Choices", "OnShelf", "Suggestion", "Turn", "WaysOut", "alternatives", "ways_out"]


@dataclass(frozen=True, kw_only=True)
class Suggestion:
    """Changes that together leave no refusal; ``answers`` are the codes refused before.

    ``facts`` are those of each block that stays in the job, ``left`` what is still said about each of them.
    """

    changes: tuple[Change, ...]
    answers: tuple[str, ...]
    facts: tuple[CheckFacts, ...]
    left: tuple[tuple[Finding, ...], ...]

    @property
    def asks(self) -> tuple[Finding, ...]:
        """What would still need a written reason."""
        return tuple(finding for said in self.left for finding in needing_reason(said))


@dataclass(frozen=True, kw_only=True)
class WaysOut:
    """Every way out that was found, fewest changes first.

    Without one, ``stuck`` names what no change known here takes away: (place of the block, refusal).
    """

    refused: bool
    suggestions: tuple[Suggestion, ...] = ()
    stuck: tuple[tuple[int, Finding], ...] = ()

    @property
    def nothing_helps(self) -> bool:
        """To be said plainly."""
        return self.refused and not self.suggestions


def ways_out(blocks: Sequence[CheckFacts], choices: Choices) -> WaysOut:
    """Complete ways out for all blocks of a job together; each screw is once tried first."""
    plain = Attempt(Case(blocks, choices))
    before = tuple(dict.fromkeys(code for _, code in plain.refused()))
    if not before:
        return WaysOut(refused=False)
    found: dict[tuple[object, ...], Suggestion] = {}
    stuck = plain
    for first in Turn:
        end = _solve(plain, choices, [first, *(turn for turn in Turn if turn is not first)])
        if end.refused():
            stuck = min(stuck, end, key=lambda attempt: len(attempt.refusals()))
            continue
        made = _told(_needed_only(end), before)
        key = tuple(sorted((c.turn, str(c.product_id), c.value) for c in made.changes))
        found.setdefault(key, made)
    ordered = tuple(sorted(found.values(), key=lambda s: len(s.changes)))
    return WaysOut(refused=True, suggestions=ordered, stuck=() if ordered else stuck.refusals())


def alternatives(blocks: Sequence[CheckFacts], choices: Choices) -> list[Suggestion]:
    """Complete ways out, the fewest changes first; empty when none of these changes makes the job lawful."""
    return list(ways_out(blocks, choices).suggestions)


def _solve(attempt: Attempt, choices: Choices, order: Sequence[Turn]) -> Attempt:
    """Turn each screw in order, again and again as long as it helps: two rates too high are two changes."""
    for turn in order:
        while better := _better(attempt, choices, turn):
            attempt = better
    return attempt


def _better(attempt: Attempt, choices: Choices, turn: Turn) -> Attempt | None:
    """The first try at one screw that leaves fewer refusals and brings no new one."""
    refused = attempt.refused()
    if not refused:
        return None
    for candidate in TURNS[turn](attempt, choices):
        after = candidate.refused()
        if len(after) < len(refused) and set(after) <= set(refused):
            return candidate
    return None


def _needed_only(attempt: Attempt) -> Attempt:
    """Undo every change that turns out not to be needed."""
    for edit in attempt.edits:
        without = attempt.without(edit)
        if not without.refusals():
            attempt = without
    return attempt


def _told(attempt: Attempt, before: tuple[str, ...]) -> Suggestion:
    """The way out in sentences, each change with the refusals that it alone holds off."""
    final = attempt.facts()
    changes = []
    for edit in attempt.edits:
        back = tuple(dict.fromkeys(code for _, code in attempt.without(edit).refused()))
        changes.append(replace(edit.tell(final), answers=tuple(code for code in back if code in before) or back))
    left = tuple(tuple(check(facts)) for facts in final)
    return Suggestion(changes=tuple(changes), answers=before, facts=final, left=left)
