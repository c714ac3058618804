"""One passed rule, and how it is worded."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from farmops.wording import fill


@dataclass(frozen=True)
class Passed:
    """A rule that had nothing to say: its name, its arithmetic in a sentence, and where the limit stands.

    ``against`` are the codes of the findings it would have given, ``about`` the product, ingredient or group
    they would have named (empty: the whole job). ``unless`` are codes that take its ground away whoever they name.
    """

    rule: str
    template: str
    pairs: tuple[tuple[str, str], ...]
    source: str
    about: str = ""
    against: frozenset[str] = frozenset()
    unless: frozenset[str] = frozenset()

    @property
    def numbers(self) -> dict[str, str]:
        return dict(self.pairs)

    @property
    def sentence(self) -> str:
        return fill(self.template, self.numbers, "en")

    def contradicted(self, spoken: Collection[tuple[str, str]]) -> bool:
        """Whether a finding speaks about the same thing."""
        return any(
            code in self.unless or (code in self.against and (not self.about or name == self.about))
            for code, name in spoken
        )

    def as_json(self) -> dict[str, object]:
        return {
            "rule": self.rule,
            "sentence": self.sentence,
            "template": self.template,
            "numbers": self.numbers,
            "source": self.source,
            "subject": self.about,
        }


def passes(
    rule: str, template: str, against: str, *, source: str, about: str = "", unless: str = "", **numbers: str
) -> Passed:
    """A passed rule; ``against`` and ``unless`` list codes of findings, with spaces between."""
    pairs = tuple(sorted(numbers.items()))
    return Passed(rule, template, pairs, source, about, frozenset(against.split()), frozenset(unless.split()))
