"""The states of a spray job and the only steps between them.

One table, asked by services (may this happen now?), pages (what is the next action?) and the
state diagram in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from apps.people.rules import Can, Role, may
from farmops.errors import Finding, Severity, gettext_noop


class JobState(StrEnum):
    """Where a job stands. ``called_off`` alone opens nothing: see ``not_applied``."""

    DRAFT = "draft"
    ASSIGNED = "assigned"
    SPRAYING = "spraying"
    SPRAYED = "sprayed"
    SIGNED = "signed"
    CALLED_OFF = "called_off"


class Step(StrEnum):
    """What people do to a job."""

    PLAN = "plan"
    EDIT = "edit"
    ASSIGN = "assign"
    CALL_OFF = "call_off"
    START = "start"
    FINISH = "finish"
    CORRECT = "correct"
    REPORT_LATE = "report_late"
    SIGN = "sign"
    NOT_APPLIED = "not_applied"
    AMEND = "amend"
    VOID = "void"


STATE_NAMES = {
    JobState.DRAFT: gettext_noop("draft"),
    JobState.ASSIGNED: gettext_noop("assigned"),
    JobState.SPRAYING: gettext_noop("spraying now"),
    JobState.SPRAYED: gettext_noop("sprayed, not signed"),
    JobState.SIGNED: gettext_noop("signed"),
    JobState.CALLED_OFF: gettext_noop("called off"),
}

STEP_NAMES = {
    Step.PLAN: gettext_noop("Plan"),
    Step.EDIT: gettext_noop("Change the plan"),
    Step.ASSIGN: gettext_noop("Assign"),
    Step.CALL_OFF: gettext_noop("Call off"),
    Step.START: gettext_noop("Start spraying"),
    Step.FINISH: gettext_noop("Finish spraying"),
    Step.CORRECT: gettext_noop("Correct what was reported"),
    Step.REPORT_LATE: gettext_noop("Report spraying that was not started here"),
    Step.SIGN: gettext_noop("Read back and sign"),
    Step.NOT_APPLIED: gettext_noop("Sign that nothing was applied"),
    Step.AMEND: gettext_noop("Correct the signed record"),
    Step.VOID: gettext_noop("Withdraw the signature"),
}


@dataclass(frozen=True, kw_only=True)
class Transition:
    """One row: from these states, by whom, to that state, and what has to be there.

    ``named`` steps belong to the people named on the job (the applicator or the supervisor), who
    need the capability too. No other person can do them, whatever the role.
    """

    step: Step
    from_states: tuple[JobState, ...]
    to_state: JobState
    can: Can
    needs: str
    named: bool = False


_S = JobState
TABLE: tuple[Transition, ...] = (
    Transition(step=Step.PLAN, from_states=(), to_state=_S.DRAFT, can=Can.PLAN_JOBS, needs="blocks, products, window"),
    Transition(
        step=Step.EDIT, from_states=(_S.DRAFT,), to_state=_S.DRAFT, can=Can.PLAN_JOBS, needs="the version that was read"
    ),
    Transition(
        step=Step.ASSIGN,
        from_states=(_S.DRAFT,),
        to_state=_S.ASSIGNED,
        can=Can.ASSIGN_JOBS,
        needs="no refusal, a reason for what needs one, stock",
    ),
    Transition(
        step=Step.CALL_OFF,
        from_states=(_S.DRAFT, _S.ASSIGNED),
        to_state=_S.CALLED_OFF,
        can=Can.ASSIGN_JOBS,
        needs="a reason",
    ),
    Transition(
        step=Step.START,
        from_states=(_S.ASSIGNED,),
        to_state=_S.SPRAYING,
        can=Can.SPRAY,
        needs="field readings, no refusal",
        named=True,
    ),
    Transition(
        step=Step.FINISH,
        from_states=(_S.SPRAYING,),
        to_state=_S.SPRAYED,
        can=Can.SPRAY,
        needs="times, area, loads, amounts",
        named=True,
    ),
    Transition(
        step=Step.CORRECT,
        from_states=(_S.SPRAYED,),
        to_state=_S.SPRAYED,
        can=Can.SPRAY,
        needs="times, area, loads, amounts",
        named=True,
    ),
    Transition(
        step=Step.REPORT_LATE,
        from_states=(_S.ASSIGNED, _S.CALLED_OFF),
        to_state=_S.SPRAYED,
        can=Can.SPRAY,
        needs="field readings, times, area, loads, amounts, a reason",
        named=True,
    ),
    Transition(
        step=Step.SIGN,
        from_states=(_S.SPRAYED,),
        to_state=_S.SIGNED,
        can=Can.SIGN,
        needs="the read-back that was shown, the ticked box, the password",
        named=True,
    ),
    Transition(
        step=Step.NOT_APPLIED,
        from_states=(_S.ASSIGNED, _S.SPRAYING, _S.SPRAYED, _S.CALLED_OFF),
        to_state=_S.CALLED_OFF,
        can=Can.SIGN,
        needs="a reason, the ticked box, the password",
        named=True,
    ),
    Transition(
        step=Step.AMEND,
        from_states=(_S.SIGNED, _S.CALLED_OFF),
        to_state=_S.SPRAYED,
        can=Can.SIGN,
        needs="a signed record, times, area, loads, amounts, a reason",
        named=True,
    ),
    Transition(
        step=Step.VOID,
        from_states=(_S.SIGNED,),
        to_state=_S.SPRAYED,
        can=Can.SIGN,
        needs="a reason, the ticked box, the password",
        named=True,
    ),
)
TRANSITIONS = {t.step: t for t in TABLE}

FINISHED = frozenset({JobState.SIGNED, JobState.CALLED_OFF})
"""States in which nobody expects anything more of a job (a doubt may still hang on the board)."""

COUNTED = frozenset({JobState.SPRAYING, JobState.SPRAYED, JobState.SIGNED})
"""States whose products count as put on the ground."""


def wrong_state(step: Step, state: JobState | str) -> Finding | None:
    """Why ``step`` cannot happen from ``state``; ``None`` when it can."""
    row = TRANSITIONS[step]
    if state in row.from_states:
        return None
    wanted = gettext_noop("This job is {state}. That step is only for a job that is {wanted}.")
    numbers = {
        "state": STATE_NAMES[JobState(state)],
        "wanted": " / ".join(STATE_NAMES[s] for s in row.from_states) or "new",
    }
    return Finding(
        code="wrong_state", severity=Severity.REFUSE, template=wanted, numbers=numbers, source="project rule: job steps"
    )


def open_steps(state: JobState | str, *, roles: Iterable[Role], named: bool) -> tuple[Step, ...]:
    """The steps this person may take now; ``named`` says that the job names this person."""
    held = frozenset(roles)
    return tuple(
        t.step for t in TABLE if state in t.from_states and may(held, t.can) and (named or not t.named)
    )  # fmt: skip


def pointless(state: JobState | str, *, doubt: bool, attested: bool) -> frozenset[Step]:
    """Steps the table allows from ``called_off`` for which this job leaves nothing to do.

    ``attested``: it is signed that nothing was applied; such a record is corrected, not reported again.
    """
    if state != JobState.CALLED_OFF:
        return frozenset()
    if attested:
        return frozenset({Step.NOT_APPLIED, Step.REPORT_LATE})
    return frozenset({Step.AMEND}) if doubt else frozenset({Step.AMEND, Step.NOT_APPLIED})


def diagram() -> str:
    """The table as a Mermaid state diagram, for DEVELOPERS.md."""
    lines = ["```mermaid", "stateDiagram-v2"]
    for row in TABLE:
        who = "named on the job" if row.named else str(row.can)
        for source in row.from_states or ("[*]",):
            lines.append(f"    {source} --> {row.to_state}: {row.step} ({who})")
    lines += [f"    {state} --> [*]" for state in JobState if state in FINISHED]
    return "\n".join([*lines, "```"])


def table() -> str:
    """The table as Markdown, for DEVELOPERS.md."""
    lines = ["| step | from | to | who | needs |", "|---|---|---|---|---|"]
    for row in TABLE:
        sources = ", ".join(row.from_states) or "–"
        who = f"`{row.can}`" + (", and named on the job" if row.named else "")
        lines.append(f"| {row.step} | {sources} | {row.to_state} | {who} | {row.needs} |")
    return "\n".join(lines)
