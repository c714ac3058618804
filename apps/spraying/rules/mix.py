"""What is in a tank: product lines, past sprays, and each line judged against its label."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from functools import cached_property

from apps.products.rules import (
    Group,
    Kind,
    Label,
    LabelUse,
    Method,
    Rate,
    RateBasis,
    Scheme,
    amount_in,
    measures_alike,
    methods_on,
    pounds_per_acre,
    use_on,
    uses_on,
)
from apps.products.rules.amounts import strictest
from farmops.units import Quantity, dimension_of

HUNDRED = Fraction(100)


@dataclass(frozen=True, kw_only=True)
class MixLine:
    """One product in a tank, with the label version that counts for it on that day.

    ``label`` is ``None`` when the farm holds none that was in force. ``label_ref`` names the version.
    """

    product_id: int | str
    name: str
    rate: Rate
    label: Label | None
    label_ref: str = ""
    label_checked: bool = False
    targets: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A line beside the label use it is judged by.

    ``listed`` is false when the label does not name the site: then ``use`` keeps the strictest limits of
    the label's other uses, so that everything else wrong with the line still shows.
    ``rate_amount`` is the rate in the use's own unit and basis; ``None`` if the two cannot be compared.
    """

    line: MixLine
    label: Label
    use: LabelUse
    listed: bool
    spray_gpa: Decimal | None

    @cached_property
    def per_acre(self) -> Quantity | None:
        """Product per treated acre, ``None`` while the spray volume it hangs on is unknown."""
        return self.line.rate.per_acre(self.spray_gpa)

    @cached_property
    def comparable(self) -> bool:
        """Whether rate and label measure the same kind of thing: liquid against liquid, dry against dry."""
        if self.line.rate.basis is self.use.rate_basis:
            return measures_alike(self.use, self.line.rate.quantity)
        unit = "gal" if self.line.rate.basis is RateBasis.PERCENT_VV else self.line.rate.quantity.unit
        theirs = "gal" if self.use.rate_basis is RateBasis.PERCENT_VV else self.use.rate_unit
        return dimension_of(unit) is dimension_of(theirs)

    @cached_property
    def rate_amount(self) -> Fraction | None:
        if not self.comparable:
            return None
        if self.line.rate.basis is self.use.rate_basis:
            return amount_in(self.line.rate.quantity, self.use.rate_unit)
        if self.per_acre is None or not self.spray_gpa:
            return None
        if self.use.rate_basis is RateBasis.PER_ACRE:
            return amount_in(self.per_acre, self.use.rate_unit)
        unit = "gal" if self.use.rate_basis is RateBasis.PERCENT_VV else self.use.rate_unit
        return amount_in(self.per_acre, unit) * HUNDRED / Fraction(self.spray_gpa)

    @cached_property
    def uses(self) -> tuple[LabelUse, ...]:
        """Every use that may be meant, as the label states it; ``use`` joins them."""
        site = self.use.site_code
        return tuple(uses_on(self.label, site, self.line.targets) or uses_on(self.label, site))

    @cached_property
    def stages(self) -> tuple[tuple[str | None, str | None], ...]:
        """(before, from) that the growth stage must keep: the joined one, and each use's own, for stages of two uses
        that cannot be put in order do not join."""
        windows = [(use.stage_before, use.stage_from) for use in (self.use, *self.uses)]
        return tuple(window for window in dict.fromkeys(windows) if window != (None, None))

    @cached_property
    def methods(self) -> tuple[Method, ...] | None:
        """How it may go out by every use that may be meant; ``None`` = any way, empty = these uses share none."""
        return methods_on(self.label, self.uses)

    @cached_property
    def pounds(self) -> dict[str, Fraction] | None:
        """Pounds of each ingredient per treated acre; ``None`` if it cannot be computed."""
        if self.per_acre is None or not self.comparable:
            return None
        return pounds_per_acre(self.label, self.per_acre)


def judge(line: MixLine, site_code: str | None, spray_gpa: Decimal | None) -> Judged | None:
    """A line against the use of its label that applies; ``None`` without a label."""
    if line.label is None:
        return None
    use = use_on(line.label, site_code, line.targets, line.rate) or use_on(line.label, site_code, (), line.rate)
    return Judged(
        line=line,
        label=line.label,
        use=use or strictest(line.label, line.label.uses),
        listed=use is not None,
        spray_gpa=spray_gpa,
    )


def judge_all(lines: Iterable[MixLine], site_code: str | None, spray_gpa: Decimal | None) -> tuple[Judged, ...]:
    """Every line that has a label, judged."""
    return tuple(j for line in lines if (j := judge(line, site_code, spray_gpa)) is not None)


@dataclass(frozen=True, kw_only=True)
class Event:
    """A spray on the block, done or already assigned: one tank mix on one day on some of the ground.

    ``parts`` are the named parts of the block it covered; empty = all of it, or nobody knows which, which counts
    the same. ``pieces`` says the same of ground that was measured: where earlier blocks or drawn parts overlap
    the block. The two are not known to lie on the same ground, so a spray counts wherever both may hold.
    Amounts not signed yet are the planned maximum. ``done`` is false for a job still ahead.
    ``failed`` marks a spray that a scout found did not control its target.
    """

    on_date: date
    lines: tuple[MixLine, ...]
    site_code: str | None
    parts: frozenset[str] = frozenset()
    pieces: frozenset[str] = frozenset()
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    spray_gpa: Decimal | None = None
    signed: bool = True
    done: bool = True
    failed: bool = False
    job_ref: str = ""

    @cached_property
    def judged(self) -> tuple[Judged, ...]:
        return judge_all(self.lines, self.site_code, self.spray_gpa)

    @cached_property
    def unread(self) -> tuple[str, ...]:
        """Products whose ingredients cannot be counted: no label, or a rate that cannot be turned into pounds."""
        counted = {id(j.line) for j in self.judged if j.pounds is not None}
        return tuple(line.name for line in self.lines if id(line) not in counted)

    @cached_property
    def pounds(self) -> dict[str, Fraction]:
        return total_pounds(self.judged)

    @cached_property
    def product_ids(self) -> frozenset[int | str]:
        return frozenset(line.product_id for line in self.lines)


def total_pounds(judged: Iterable[Judged]) -> dict[str, Fraction]:
    """Pounds of each ingredient per acre in a whole tank."""
    total: dict[str, Fraction] = {}
    for j in judged:
        for name, pounds in (j.pounds or {}).items():
            total[name] = total.get(name, Fraction(0)) + pounds
    return total


_SCHEME_OF = {Kind.FUNGICIDE: Scheme.FRAC, Kind.INSECTICIDE: Scheme.IRAC, Kind.HERBICIDE: Scheme.HRAC}


def fights(line: MixLine, scheme: Scheme) -> bool:
    """Whether a line counts as a spray in a scheme: a fungicide for FRAC, and so on, or any product of its groups."""
    if line.label is None:
        return False
    return _SCHEME_OF.get(line.label.kind) is scheme or any(g.scheme is scheme for g in line.label.groups)


def groups_in(lines: Iterable[MixLine]) -> tuple[Group, ...]:
    """Every group in a tank, premixes counted for all of theirs."""
    return tuple(dict.fromkeys(g for line in lines if line.label is not None for g in line.label.groups))
