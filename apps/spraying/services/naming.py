"""Who really did or supervised a spray, when somebody else was written down.

Nobody signs for another: the record is corrected by one of those it then names, or handed over by one it names now,
and only whoever really did or supervised it can sign it after that. What was signed before stays as an edition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from apps.people import queries as people
from apps.people.models import Person
from apps.people.queries import Member
from apps.people.rules import Role
from apps.spraying.models import Job
from apps.spraying.services.moves import JOB_REOPENED, managers, people_on, tell
from farmops.errors import BadInput, NotYourRole, Unknown, gettext_noop

FIELDS = ("applicator_id", "supervisor_id")
Named = Mapping[str, int | None]


@dataclass(frozen=True, kw_only=True)
class Renamed:
    """A job that names other people than before; ``was`` are the earlier applicator and supervisor."""

    was: tuple[Person | None, Person | None]
    job: Job

    @property
    def changes(self) -> dict[str, int | None]:
        return {name: getattr(self.job, name) for name in FIELDS}

    @property
    def details(self) -> dict[str, Any]:
        """For the step: the names before and now."""
        return {"people": {"before": _names(*self.was), "now": _names(self.job.applicator, self.job.supervisor)}}

    @property
    def left(self) -> list[Person]:
        """Who is no longer named."""
        return [p for p in self.was if p is not None and p.pk not in people_on(self.job)]


def _names(applicator: Person | None, supervisor: Person | None) -> list[str]:
    return [p.full_name if p is not None else "" for p in (applicator, supervisor)]


def wanted(job: Job, named: Named | None) -> Named | None:
    """Whom the job is to name, if that differs from whom it names; a field left out stays as it is."""
    now = {name: getattr(job, name) for name in FIELDS}
    then = {**now, **{k: v for k, v in (named or {}).items() if k in FIELDS}}
    return None if then == now else then


def speakers(job: Job, named: Named | None) -> frozenset[int]:
    """Who may correct the job: those it names, and those it will name."""
    then = wanted(job, named) or {}
    return frozenset(p for p in (*people_on(job), *then.values()) if p is not None)


def rename(job: Job, named: Named | None, member: Member) -> Renamed | None:
    """Put the right people on the job (in memory); ``None`` when nobody changes.

    ``BadInput`` names the field of somebody who cannot be named; ``NotYourRole`` when the member is neither.
    """
    then = wanted(job, named)
    if then is None:
        return None
    if member.person_id not in speakers(job, named):
        raise NotYourRole(
            gettext_noop(
                "Only who is named on the job, or who really did or supervised it, can put the people right. "
                "Name yourself."
            )
        )
    found, faults = {}, {}
    for name in FIELDS:
        person_id = then[name]
        found[name] = getattr(job, name.removesuffix("_id")) if person_id == getattr(job, name) else None
        if person_id is not None and found[name] is None:
            found[name] = _applicator(job, person_id)
            if found[name] is None:
                faults[name] = gettext_noop("Choose somebody who works on this farm as an applicator.")
    if then["applicator_id"] is None:
        faults["applicator_id"] = gettext_noop("Say who made the application.")
    elif then["applicator_id"] == then["supervisor_id"]:
        faults["supervisor_id"] = gettext_noop("The supervisor must be another person than the applicator.")
    if faults:
        raise BadInput(faults)
    was = (job.applicator, job.supervisor)
    job.applicator, job.supervisor = found["applicator_id"], found["supervisor_id"]
    return Renamed(was=was, job=job)


def _applicator(job: Job, person_id: int) -> Person | None:
    try:
        known = people.active_member_for_person(job.farm, person_id)
    except Unknown:
        return None
    return Person.objects.get(pk=person_id) if Role.APPLICATOR in known.roles else None


def tell_renamed(renamed: Renamed, why: str, *, member: Member, now: datetime) -> None:
    """Whoever is no longer named hears it at once, and so do the managers and whoever must sign now."""
    job = renamed.job
    template = gettext_noop(
        "{who} corrects who made spray job {job} on {blocks}. Applied by: {applicator}; supervised by: {supervisor}. "
        "Before: {earlier}. Why: {reason} What was signed stays readable. If this is wrong, tell the manager today."
    )
    left = {p.pk for p in renamed.left}
    names = {
        "applicator": job.applicator.full_name,
        "supervisor": job.supervisor.full_name if job.supervisor else "–",
        "earlier": ", ".join(n for n in _names(*renamed.was) if n),
    }
    to = sorted({*left, *managers(job), *people_on(job)} - {member.person_id})
    occasion = f"version {job.version} people"
    tell(job, JOB_REOPENED, occasion, to, template, now=now, urgent=True, who=member.name, reason=why, **names)
