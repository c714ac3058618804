"""A JSON document -> a checked :class:`Label`, and back.

Every fault is reported at once, each under its dotted path (``uses.0.rate_max``). A key that
is not known is a fault: a mistyped limit must never vanish.
"""

from __future__ import annotations

from decimal import Decimal

from apps.products.rules.codes import (
    FORMULATION_CODES,
    PESTICIDES,
    BeeClass,
    CapPer,
    ContentBasis,
    Group,
    IntervalScope,
    Kind,
    Method,
    MixingStage,
    RateBasis,
    Scheme,
    YearBasis,
    group,
)
from apps.products.rules.label import (
    EVERY_CROP,
    ActivityRei,
    GroupRunLimit,
    Ingredient,
    IngredientCap,
    Label,
    LabelUse,
    PhiTier,
    PlantBack,
    Ppe,
    Separation,
)
from apps.products.rules.reader import CODE, SAY_CODE, Reader
from apps.products.rules.stages import STAGES, is_stage
from farmops.errors import BadInput, Said, gettext_noop, one_of
from farmops.units import PRODUCT_UNITS, Dimension, dimension_of


def _is_code(text: str) -> str | None:
    return text if CODE.match(text) else None


def _is_method(text: str) -> str | None:
    return text if text in set(Method) else None


def _words(text: str) -> str | None:
    return " ".join(text.split()) or None


def _iso(text: str) -> str | None:
    return " ".join(text.lower().split()) or None


def _methods(read: Reader) -> tuple[Method, ...]:
    return tuple(map(Method, read.names("methods", _is_method, one_of(Method))))


def _ingredient(read: Reader) -> Ingredient | None:
    name, basis = read.ingredient("name"), read.one_of("basis", ContentBasis, needed=True)
    high = 1 if basis is ContentBasis.FRACTION else 30
    amount = read.amount("amount", above=0, high=high, needed=True)
    return Ingredient(name=name, amount=amount, basis=basis) if amount is not None and basis else None


def _group(read: Reader) -> Group | None:
    scheme, code = read.one_of("scheme", Scheme, needed=True), read.get("code")
    if scheme is None:
        return None
    found = group(scheme, str(code))
    if found is None:
        read.fault(
            "code",
            Said(
                gettext_noop("Give a code as {scheme} prints it, such as {example}."),
                scheme=scheme.upper(),
                example=_EXAMPLE[scheme],
            ),
        )
    return found


_EXAMPLE = {Scheme.FRAC: "M05 or 11", Scheme.IRAC: "3A or 28", Scheme.HRAC: "9 or 15"}


def _cap(read: Reader) -> IngredientCap | None:
    name, per = read.ingredient("ingredient"), read.one_of("per", CapPer, needed=True)
    pounds = read.amount("pounds", above=0, high=1000, needed=True)
    basis, site = read.one_of("year_basis", YearBasis) or YearBasis.UNKNOWN, read.code("site_code")
    if pounds is None or per is None:
        return None
    return IngredientCap(ingredient=name, pounds=pounds, per=per, year_basis=basis, site_code=site)


def _run_limit(read: Reader) -> GroupRunLimit | None:
    found, most = _group(read), read.whole("max_in_a_row", low=1, high=50, needed=True)
    return GroupRunLimit(group=found, max_in_a_row=most) if found and most else None


def _separation(read: Reader) -> Separation | None:
    name, days = read.ingredient("ingredient"), read.whole("days", high=365, needed=True)
    return None if days is None else Separation(ingredient=name, days=days)


def _plantback(read: Reader) -> PlantBack | None:
    site, months = read.code("site_code", needed=True, also=(EVERY_CROP,)), read.whole("months", high=120, needed=True)
    return PlantBack(site_code=site, months=months) if site and months is not None else None


def _tier(read: Reader) -> PhiTier | None:
    up_to = read.amount("up_to_rate", above=0, high=10000, needed=True)
    days = read.whole("days", high=730, needed=True)
    return PhiTier(up_to_rate=up_to, days=days) if up_to is not None and days is not None else None


def _activity_rei(read: Reader) -> ActivityRei | None:
    activity, hours = read.code("activity", needed=True), read.amount("hours", high=8760, needed=True)
    return ActivityRei(activity=activity, hours=hours) if activity and hours is not None else None


def _use(read: Reader) -> LabelUse | None:
    basis, unit = read.one_of("rate_basis", RateBasis, needed=True), _rate_unit(read)
    high = 100 if basis is RateBasis.PERCENT_VV else 10000
    rates = (read.amount("rate_min", high=high), read.amount("rate_max", above=0, high=high, needed=True))
    use = LabelUse(
        site_code=read.code("site_code", needed=True) or "",
        targets=read.names("targets", _is_code, SAY_CODE),
        rate_min=rates[0],
        rate_max=rates[1] or Decimal(0),
        rate_unit=unit,
        rate_basis=basis or RateBasis.PER_ACRE,
        phi_days=read.whole("phi_days", high=730),
        phi_tiers=tuple(sorted(read.rows("phi_tiers", _tier), key=lambda tier: tier.up_to_rate)),
        rei_hours=read.amount("rei_hours", high=8760),
        activity_rei=read.rows("activity_rei", _activity_rei),
        min_interval_days=read.whole("min_interval_days", high=730),
        interval_scope=read.one_of("interval_scope", IntervalScope) or IntervalScope.PRODUCT,
        max_uses=read.whole("max_uses", low=1, high=100),
        season_max_product=read.amount("season_max_product", above=0, high=100000),
        season_max_unit=_season_unit(read),
        season_basis=read.one_of("season_basis", YearBasis) or YearBasis.UNKNOWN,
        stage_from=_stage(read, "stage_from"),
        stage_before=_stage(read, "stage_before"),
        crop_height_max_in=read.amount("crop_height_max_in", above=0, high=200),
        methods=_methods(read),
        min_spray_gpa=read.amount("min_spray_gpa", above=0, high=2000),
        conditions=read.text("conditions"),
    )
    _check_use(read, use)
    return use


def _stage(read: Reader, key: str) -> str | None:
    stage = read.code(key)
    if stage is not None and not is_stage(stage):
        read.fault(
            key,
            Said(
                gettext_noop(
                    "Use a growth stage that can be put in order: a Zadoks number such as z37, or one of: {codes}."
                ),
                codes=_STAGES,
            ),
        )
    return stage


_STAGES = ", ".join(sorted(STAGES))


def _rate_unit(read: Reader) -> str:
    unit, share = read.get("rate_unit"), read.body.get("rate_basis") == RateBasis.PERCENT_VV
    right = ("%vv",) if share else PRODUCT_UNITS
    if unit in right:
        return str(unit)
    read.fault(
        "rate_unit",
        Said(gettext_noop("Use one of: {codes}. Fluid ounce is floz, weight ounce is oz."), codes=", ".join(right)),
    )
    return right[0]


def _season_unit(read: Reader) -> str | None:
    unit = read.get("season_max_unit")
    if unit is None or unit in PRODUCT_UNITS:
        return None if unit is None else str(unit)
    read.fault("season_max_unit", one_of(PRODUCT_UNITS))
    return None


def _check_use(read: Reader, use: LabelUse) -> None:
    """What one field cannot show alone."""
    if use.rate_min is not None and use.rate_max and use.rate_min > use.rate_max:
        read.fault("rate_min", Said(gettext_noop("Must not be above rate_max, {most}."), most=use.rate_max))
    if use.phi_days is not None and use.phi_tiers:
        read.fault("phi_days", gettext_noop("Give phi_days or phi_tiers, not both."))
    if use.phi_tiers and use.phi_tiers[-1].up_to_rate < use.rate_max:
        read.fault("phi_tiers", Said(gettext_noop("The last tier must reach rate_max, {most}."), most=use.rate_max))
    if use.season_max_product is None:
        if use.season_max_unit:
            read.fault("season_max_product", gettext_noop("Give the amount that goes with season_max_unit."))
        return
    unit = use.season_max_unit or use.rate_unit
    if unit == "%vv":
        read.fault("season_max_unit", gettext_noop("Name the unit of season_max_product: a share has no season total."))
    elif dimension_of(unit) is not dimension_of("gal" if use.rate_unit == "%vv" else use.rate_unit):
        read.fault(
            "season_max_unit", gettext_noop("Must measure the same thing as rate_unit: both liquid, or both dry.")
        )


def _ppe(read: Reader) -> Ppe:
    inner = Reader(read.mapping("ppe"), read.name("ppe"), read.faults)
    say = "Give the label's words."
    gear = Ppe(
        mixing=inner.names("mixing", _words, say),
        applying=inner.names("applying", _words, say),
        early_entry=inner.names("early_entry", _words, say),
    )
    inner.close()
    return gear


def _preplant(read: Reader) -> dict[str, int]:
    body = read.mapping("preplant_days")
    inner = Reader(body, read.name("preplant_days"), read.faults)
    for site in body:
        if site != EVERY_CROP and not CODE.match(str(site)):
            inner.fault(str(site), SAY_CODE)
    days = {str(site): inner.whole(str(site), high=365, needed=True) for site in sorted(map(str, body))}
    return {site: count for site, count in days.items() if count is not None}


def _sections(read: Reader) -> dict[str, str]:
    body = read.mapping("sections")
    inner = Reader(body, read.name("sections"), read.faults)
    return {str(key): inner.text(str(key), longest=200) for key in sorted(map(str, body))}


def _formulation(read: Reader) -> str | None:
    code = read.get("formulation_code")
    if code is None or (isinstance(code, str) and code in FORMULATION_CODES):
        return code
    read.fault(
        "formulation_code",
        gettext_noop(
            "Give the two-letter code of the international coding system, such as SC, EC, WG or WP "
            "(WDG and DF are WG, F is SC)."
        ),
    )
    return None


def _label(read: Reader) -> Label:
    return Label(
        kind=read.one_of("kind", Kind, needed=True) or Kind.OTHER,
        restricted_use=bool(read.flag("restricted_use", needed=True)),
        ingredients=read.rows("ingredients", _ingredient),
        groups=tuple(dict.fromkeys(read.rows("groups", _group))),
        uses=read.rows("uses", _use),
        formulation_code=_formulation(read),
        signal_word=read.text("signal_word", longest=60),
        ppe=_ppe(read),
        caps=read.rows("caps", _cap),
        group_run_limits=read.rows("group_run_limits", _run_limit),
        separations=read.rows("separations", _separation),
        plantback=read.rows("plantback", _plantback),
        cover_crop_any_time=bool(read.flag("cover_crop_any_time")),
        preplant_days=_preplant(read),
        bee_class=read.one_of("bee_class", BeeClass),
        bee_statement=read.text("bee_statement"),
        methods=_methods(read),
        min_spray_gpa=read.amount("min_spray_gpa", above=0, high=2000),
        recommended_gpa=read.amount("recommended_gpa", above=0, high=2000),
        wind_max_mph=read.amount("wind_max_mph", above=0, high=60),
        wind_min_mph=read.amount("wind_min_mph", high=60),
        buffer_ft=read.amount("buffer_ft", high=10000),
        temperature_max_f=read.amount("temperature_max_f", low=-40, high=150),
        temperature_caution_f=read.amount("temperature_caution_f", low=-40, high=150),
        solution_ph_min=read.amount("solution_ph_min", high=14),
        surfactant_caution=bool(read.flag("surfactant_caution")),
        rain_free_hours=read.amount("rain_free_hours", high=240),
        mix_cautions=read.names("mix_cautions", _iso, "Give the ISO common name of an active ingredient."),
        supervised_use_allowed=read.flag("supervised_use_allowed"),
        training_topic=read.code("training_topic"),
        training_months=read.whole("training_months", low=1, high=120),
        double_notification=bool(read.flag("double_notification")),
        condition_release=read.text("condition_release"),
        density_lb_per_gal=read.amount("density_lb_per_gal", above=0, high=30),
        contains_oil=read.flag("contains_oil"),
        mixing_stage=read.one_of("mixing_stage", MixingStage),
        rei_hours=read.amount("rei_hours", high=8760),
        activity_rei=read.rows("activity_rei", _activity_rei),
        sections=_sections(read),
    )


def _check_label(read: Reader, label: Label) -> None:
    names = label.ingredient_names
    if len(names) != len(label.ingredients):
        read.fault("ingredients", gettext_noop("Name each ingredient once."))
    if not label.uses and not read.faulty("uses"):
        read.fault("uses", gettext_noop("Give at least one use: a site with its rate range."))
    if label.kind in PESTICIDES and not label.ingredients and not read.faulty("ingredients"):
        read.fault("ingredients", gettext_noop("Give at least one active ingredient with its content."))
    if (label.training_topic is None) != (label.training_months is None):
        read.fault("training_months", gettext_noop("Give training_topic and training_months together."))
    for place, cap in read.numbered("caps", label.caps):
        if cap.ingredient and cap.ingredient not in names and not read.faulty("ingredients"):
            read.fault(
                f"caps.{place}.ingredient",
                Said(gettext_noop("“{name}” is not among the ingredients."), name=cap.ingredient),
            )
    for place, limit in read.numbered("group_run_limits", label.group_run_limits):
        if limit.group not in label.groups and not read.faulty("groups"):
            read.fault(
                f"group_run_limits.{place}.code",
                Said(gettext_noop("{group} is not among the groups of this label."), group=limit.group),
            )
    _check_measures(read, label)
    for place, use in read.numbered("uses", label.uses):
        first = next(other for other in label.uses if other.site_code == use.site_code)
        if first.rate_basis is not use.rate_basis or not comparable(first.rate_unit, use.rate_unit):
            read.fault(
                f"uses.{place}.rate_unit",
                Said(gettext_noop("State the rate as the other use on {crop} does."), crop=use.site_code),
            )


def comparable(unit: str, other: str) -> bool:
    """Whether two rate units measure the same thing."""
    return dimension_of(unit) is dimension_of(other)


def _check_measures(read: Reader, label: Label) -> None:
    """Pounds of an ingredient must be computable: liquid with lb/gal, dry with a fraction, or a stated density."""
    if label.density_lb_per_gal is not None:
        return
    for place, use in read.numbered("uses", label.uses):
        dry = dimension_of(use.rate_unit) is Dimension.MASS
        wrong = ContentBasis.LB_PER_GAL if dry else ContentBasis.FRACTION
        if any(i.basis is wrong for i in label.ingredients):
            read.fault(
                f"uses.{place}.rate_unit",
                gettext_noop(
                    "The content is stated by weight and the rate by volume, or the other way round: "
                    "give density_lb_per_gal, or state both alike."
                ),
            )


def read_label(body: object) -> Label:
    """A label document -> facts. ``BadInput`` with every fault under its dotted path, e.g. ``uses.0.rate_max``."""
    faults: dict[str, list[str]] = {}
    read = Reader(body, "", faults)
    if faults:
        raise BadInput(faults)
    label = _label(read)
    _check_label(read, label)
    read.close()
    if faults:
        raise BadInput(faults)
    return label
