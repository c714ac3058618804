"""The ways a farm action can be turned down, and the finding that explains why.

Plain Python: rules, services and doors share these; nothing here knows Django.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from farmops.wording import fill


def gettext_noop(message: str) -> str:
    """Mark ``message`` for the translation catalogue; doors translate it later."""
    return message


class Said(str):
    """An English sentence with its slots filled in that still knows its template, so that a door can translate it.

    ``numbers`` fill the slots: codes, names, amounts with their unit; a tuple holds sentences or words of the
    catalogue, which are translated each by itself.
    """

    template: str
    numbers: Mapping[str, str | tuple[str, ...]]

    def __new__(cls, template: str, **numbers: object) -> Said:
        kept = {name: value if isinstance(value, tuple) else str(value) for name, value in numbers.items()}
        said = super().__new__(cls, cls.filled(template, kept))
        said.template, said.numbers = template, kept
        return said

    @staticmethod
    def filled(template: str, numbers: Mapping[str, str | tuple[str, ...]]) -> str:
        """The template with its slots filled, words of a tuple with a slash between them."""
        return template.format(**{n: " / ".join(v) if isinstance(v, tuple) else v for n, v in numbers.items()})


def one_of(codes: Iterable[str]) -> Said:
    """What would be right where one of a few codes is asked for."""
    return Said(gettext_noop("Use one of: {codes}."), codes=", ".join(codes))


class Severity(StrEnum):
    """How much a finding weighs. Never a label signal word."""

    REFUSE = "refuse"  # the action stops
    JUSTIFY = "justify"  # the action needs a written reason
    NOTE = "note"  # shown, nothing asked


_ORDER = {Severity.REFUSE: 0, Severity.JUSTIFY: 1, Severity.NOTE: 2}


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing a check has to say.

    ``template`` is an English sentence with named slots and is the message id of the
    translation; ``numbers`` fills the slots: text with its unit, a date as ``2026-06-03`` or an
    instant as ``wording.stamp`` writes it (both are worded for the reader); ``source``
    names the label section, law or handbook the finding rests on; ``field`` names the
    input it is about, if there is one; ``subject`` the block or product, if it is about one.
    """

    code: str
    severity: Severity
    template: str
    numbers: Mapping[str, str] = field(default_factory=dict)
    source: str = ""
    field: str = ""
    subject: str = ""

    @property
    def sentence(self) -> str:
        """The English sentence with its numbers filled in."""
        return fill(self.template, self.numbers, "en")

    def as_json(self) -> dict[str, object]:
        """Shape used by API answers and stored snapshots."""
        return {
            "code": self.code,
            "severity": self.severity.value,
            "sentence": self.sentence,
            "template": self.template,
            "numbers": dict(self.numbers),
            "source": self.source,
            "field": self.field,
            "subject": self.subject,
        }


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Refusals first, then what needs a reason, then notes; stable within each."""
    return sorted(findings, key=lambda f: _ORDER[f.severity])


def refusals(findings: Iterable[Finding]) -> list[Finding]:
    """Only the findings that stop the action."""
    return [f for f in findings if f.severity is Severity.REFUSE]


def needing_reason(findings: Iterable[Finding]) -> list[Finding]:
    """Only the findings that need a written reason."""
    return [f for f in findings if f.severity is Severity.JUSTIFY]


class FarmError(Exception):
    """An anticipated 'no'. Doors turn it into an answer; it is not a fault."""


class Refused(FarmError):
    """The rules say no. Carries every finding, not the first (HTTP 409)."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        self.findings = worst_first(findings)
        super().__init__("; ".join(f.sentence for f in self.findings))


def refuse(code: str, template: str, *, source: str = "", field: str = "", **numbers: str) -> Refused:
    """A ``Refused`` with a single refusing finding."""
    finding = Finding(
        code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source=source, field=field
    )
    return Refused([finding])


class Told(FarmError):
    """A 'no' in one sentence of the catalogue."""

    usual: str

    def __init__(self, said: str = "") -> None:
        self.said = said or self.usual
        super().__init__(self.said)


class NotYourRole(Told):
    """This member may not do this (HTTP 403). Says who may."""

    usual = gettext_noop("Nobody may do this here.")


class Unknown(Told):
    """No such thing on this farm (HTTP 404); also for another farm's things."""

    usual = gettext_noop("No such entry in this farm's book.")


class Stale(Told):
    """Somebody changed it since you read it (HTTP 412)."""

    usual = gettext_noop("Somebody changed this since you opened it. Read it again, then repeat your change.")


class BadInput(FarmError):
    """What was typed cannot be used (HTTP 400): field name -> sentences saying what would be right."""

    def __init__(self, errors: Mapping[str, Sequence[str] | str]) -> None:
        self.errors: dict[str, list[str]] = {
            name: [said] if isinstance(said, str) else list(said) for name, said in errors.items()
        }
        super().__init__("; ".join(f"{n}: {' '.join(s)}" for n, s in self.errors.items()))
