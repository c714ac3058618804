"""Which use of a label applies, and what a rate comes to: product and ingredient per acre, PHI, REI.

Rates are per treated acre. Sums stay exact fractions until they are shown.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import reduce

from apps.products.rules.codes import ContentBasis, IntervalScope, Method, RateBasis, YearBasis
from apps.products.rules.label import ActivityRei, Label, LabelUse
from apps.products.rules.stages import earlier, later
from farmops.units import CONTEXT, Dimension, Quantity, dimension_of, factor

# Two amounts that differ by less than a billionth are the same amount typed in another unit.
HAIR = Fraction(1, 10**9)


@dataclass(frozen=True, kw_only=True)
class Rate:
    """A rate as it was given: an amount and what it is stated against. ``%vv`` goes with ``percent_vv``."""

    quantity: Quantity
    basis: RateBasis = RateBasis.PER_ACRE

    def per_acre(self, spray_gpa: Decimal | None) -> Quantity | None:
        """Product per treated acre; ``None`` if the spray volume is needed and not known."""
        if self.basis is RateBasis.PER_ACRE:
            return self.quantity
        if spray_gpa is None:
            return None
        hundredths = CONTEXT.divide(CONTEXT.multiply(self.quantity.amount, spray_gpa), Decimal(100))
        return Quantity(hundredths, "gal" if self.basis is RateBasis.PERCENT_VV else self.quantity.unit)

    def __str__(self) -> str:
        return f"{self.quantity}{_AGAINST[self.basis]}"


_AGAINST = {RateBasis.PER_ACRE: "/acre", RateBasis.PER_100_GAL: "/100 gal", RateBasis.PERCENT_VV: ""}


def amount_in(quantity: Quantity, unit: str) -> Fraction:
    """Exact number of ``unit`` in ``quantity``; ``BadInput`` if they measure different things."""
    return Fraction(quantity.amount) * factor(quantity.unit, unit)


def exceeds(value: Fraction, limit: Fraction) -> bool:
    """More than the limit, beyond what a change of unit can leave behind."""
    return value > limit * (1 + HAIR)


def pounds_per_acre(label: Label, product: Quantity) -> dict[str, Fraction]:
    """Pounds of each active ingredient in ``product`` (an amount per acre)."""
    liquid = product.dimension is Dimension.VOLUME
    density = None if label.density_lb_per_gal is None else Fraction(label.density_lb_per_gal)
    out: dict[str, Fraction] = {}
    for part in label.ingredients:
        if part.basis is ContentBasis.LB_PER_GAL:
            gallons = amount_in(product, "gal") if liquid else amount_in(product, "lb") / _known(density)
            out[part.name] = gallons * Fraction(part.amount)
        else:
            pounds = amount_in(product, "gal") * _known(density) if liquid else amount_in(product, "lb")
            out[part.name] = pounds * Fraction(part.amount)
    return out


def _known(density: Fraction | None) -> Fraction:
    if density is None:
        raise ValueError("content and rate measure different things and the label states no density")
    return density


def measures_alike(use: LabelUse, quantity: Quantity) -> bool:
    """Whether an amount can be compared with the use's rates: both liquid, both dry or both a share."""
    return quantity.dimension is dimension_of(use.rate_unit)


def uses_on(label: Label, site_code: str | None, targets: Collection[str] = ()) -> tuple[LabelUse, ...]:
    """The uses for a site, narrowed to ``targets`` where both the plan and the label name some."""
    on_site = tuple(use for use in label.uses if use.site_code == site_code)
    if not targets:
        return on_site
    return tuple(use for use in on_site if not use.targets or set(use.targets) & set(targets))


def use_on(
    label: Label, site_code: str | None, targets: Collection[str] = (), rate: Rate | None = None
) -> LabelUse | None:
    """The use that applies on a site.

    Of several, one that keeps the strictest of each of their limits, with the rate range of those that
    ``rate`` fits: name the target to be judged by its own use alone.
    """
    found = uses_on(label, site_code, targets)
    if not found:
        return None
    use = strictest(label, found)
    if rate is None or len(found) == 1 or rate.basis is not use.rate_basis or not measures_alike(use, rate.quantity):
        return use
    fit = strictest(label, _fitting(found, amount_in(rate.quantity, use.rate_unit), use.rate_unit))
    times = Quantity(Decimal(1), fit.rate_unit).to(use.rate_unit).amount
    return replace(use, rate_min=None if fit.rate_min is None else fit.rate_min * times, rate_max=fit.rate_max * times)


def methods_on(label: Label, uses: Iterable[LabelUse]) -> tuple[Method, ...] | None:
    """The methods that each of ``uses`` allows, by itself or by its label; ``None`` where none of them names any."""
    named = [methods for use in uses if (methods := use.methods or label.methods)]
    return tuple(m for m in named[0] if all(m in methods for methods in named)) if named else None


def strictest(label: Label, uses: Sequence[LabelUse]) -> LabelUse:
    """One use with the strictest of each limit of ``uses``; those whose rates cannot be compared stay out."""
    first, kind = uses[0], dimension_of(uses[0].rate_unit)
    alike = [use for use in uses if use.rate_basis is first.rate_basis and dimension_of(use.rate_unit) is kind]
    if len(alike) == 1:
        return first
    joined = reduce(_stricter, (_written_out(label, use) for use in alike))
    return replace(joined, methods=methods_on(label, alike) or ())


def _written_out(label: Label, use: LabelUse) -> LabelUse:
    """``use`` with what it leaves to the whole label: the other's own limit must not stand in for the label's."""
    hours = {row.activity: row for row in (*label.activity_rei, *use.activity_rei)}
    return replace(
        use,
        rei_hours=label.rei_hours if use.rei_hours is None else use.rei_hours,
        activity_rei=tuple(hours.values()),
        min_spray_gpa=label.min_spray_gpa if use.min_spray_gpa is None else use.min_spray_gpa,
    )


def _fitting(uses: Sequence[LabelUse], amount: Fraction, unit: str) -> tuple[LabelUse, ...]:
    """The uses whose range holds the rate; else those it is too low for; else the one that allows most."""

    def bound(use: LabelUse, limit: Decimal | None) -> Fraction:
        return amount_in(Quantity(limit or Decimal(0), use.rate_unit), unit)

    allowed = tuple(u for u in uses if not exceeds(amount, bound(u, u.rate_max)))
    within = tuple(u for u in allowed if not exceeds(bound(u, u.rate_min), amount))
    return within or allowed or (max(uses, key=lambda u: bound(u, u.rate_max)),)


def _least(a: Decimal | None, b: Decimal | None) -> Decimal | None:
    return min((x for x in (a, b) if x is not None), default=None)


def _most(a: Decimal | None, b: Decimal | None) -> Decimal | None:
    return max((x for x in (a, b) if x is not None), default=None)


def _fewest(a: int | None, b: int | None) -> int | None:
    return min((x for x in (a, b) if x is not None), default=None)


def _stricter(a: LabelUse, b: LabelUse) -> LabelUse:
    """The narrower of two uses, limit by limit; an unknown interval stays unknown. Rates in ``a``'s unit."""
    times = Quantity(Decimal(1), b.rate_unit).to(a.rate_unit).amount
    unknown_phi = not _says_phi(a) or not _says_phi(b)
    phi = None if unknown_phi else max(_longest_phi(a), _longest_phi(b))
    rei = None if a.rei_hours is None or b.rei_hours is None else max(a.rei_hours, b.rei_hours)
    season, season_unit = _smaller_season(a, b)
    ingredient_scope = IntervalScope.INGREDIENT in (a.interval_scope, b.interval_scope)
    return replace(
        a,
        targets=tuple(dict.fromkeys((*a.targets, *b.targets))),
        rate_min=_most(a.rate_min, None if b.rate_min is None else b.rate_min * times),
        rate_max=min(a.rate_max, b.rate_max * times),
        phi_days=phi,
        phi_tiers=(),
        rei_hours=rei,
        activity_rei=_longer_activities(a, b),
        min_interval_days=max(a.min_interval_days or 0, b.min_interval_days or 0)
        if None not in (a.min_interval_days, b.min_interval_days)
        else None,
        interval_scope=IntervalScope.INGREDIENT if ingredient_scope else IntervalScope.PRODUCT,
        max_uses=_fewest(a.max_uses, b.max_uses),
        season_max_product=season,
        season_max_unit=season_unit,
        season_basis=a.season_basis if a.season_basis is b.season_basis else YearBasis.UNKNOWN,
        stage_from=later(a.stage_from, b.stage_from),
        stage_before=earlier(a.stage_before, b.stage_before),
        crop_height_max_in=_least(a.crop_height_max_in, b.crop_height_max_in),
        min_spray_gpa=_most(a.min_spray_gpa, b.min_spray_gpa),
        conditions=" ".join(dict.fromkeys(t for t in (a.conditions, b.conditions) if t)),
    )


def _says_phi(use: LabelUse) -> bool:
    return use.phi_days is not None or bool(use.phi_tiers)


def _longest_phi(use: LabelUse) -> int:
    return max([use.phi_days or 0, *(tier.days for tier in use.phi_tiers)])


def _smaller_season(a: LabelUse, b: LabelUse) -> tuple[Decimal | None, str | None]:
    """The smaller season total and its unit, which is that of the first use that states one."""
    totals = [
        Quantity(use.season_max_product, use.season_max_unit or use.rate_unit)
        for use in (a, b)
        if use.season_max_product is not None
    ]
    if not totals:
        return None, None
    unit = totals[0].unit
    return min(total.to(unit).amount for total in totals), unit


def _longer_activities(a: LabelUse, b: LabelUse) -> tuple[ActivityRei, ...]:
    """Hours of each kind of work that either use names: the longer; left out where the other's are not known."""
    mine, theirs = ({row.activity: row.hours for row in use.activity_rei} for use in (a, b))
    rows = []
    for name in sorted({*mine, *theirs}):
        hours = (mine.get(name, a.rei_hours), theirs.get(name, b.rei_hours))
        if None not in hours:
            rows.append(ActivityRei(activity=name, hours=max(h for h in hours if h is not None)))
    return tuple(rows)


def phi_days(use: LabelUse, rate_amount: Fraction | None) -> int | None:
    """Pre-harvest days at a rate (in the use's unit and basis); an unknown rate takes the longest tier.

    ``None`` = the label's interval is not known, which is never zero.
    """
    if use.phi_days is not None:
        return use.phi_days
    if not use.phi_tiers:
        return None
    for tier in use.phi_tiers:
        if rate_amount is not None and not exceeds(rate_amount, Fraction(tier.up_to_rate)):
            return tier.days
    return _longest_phi(use)


def rei_hours(label: Label, use: LabelUse, activity: str | None = None) -> Decimal | None:
    """Hours of restricted entry: the use's own, else the label's; an activity's own interval when it has one.

    Without an activity, the longest that the label names. ``None`` = not known, which is never zero.
    """
    general = label.rei_hours if use.rei_hours is None else use.rei_hours
    by_activity = {row.activity: row.hours for row in (*label.activity_rei, *use.activity_rei)}
    if activity is not None:
        return by_activity.get(activity, general)
    return None if general is None else max([general, *by_activity.values()])
