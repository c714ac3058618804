"""Bringing the past in: first every row is answered, then all rows are written or none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import groupby

from django.db import transaction

from apps.audit import services as audit
from apps.crops.models import Crop
from apps.crops.queries import crop_facts
from apps.land import queries as land
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.products.models import LabelVersion, Product
from apps.products.queries import label_versions
from apps.safety import services as safety
from apps.safety.rules import CONDITIONS, NewClosure, for_signature
from apps.spraying.bringing import queries as bringing
from apps.spraying.bringing.models import BroughtFile, BroughtSpray
from apps.spraying.bringing.rules import Answer, Typed, measures, read
from apps.spraying.history import Labels, mix_line
from apps.spraying.models import JobBlock
from apps.spraying.rules.outcome import entry_intervals, harvest_waits
from apps.spraying.rules.states import JobState
from farmops import clock, wording
from farmops.csv_read import Fault
from farmops.errors import BadInput, gettext_noop
from farmops.units import dimension_of

DAY_OVER = timedelta(hours=23, minutes=59)
WAITS_MATTER = timedelta(days=365)
"""What a label does not say about waits is asked for as long as that crop may still stand there (project rule)."""


@dataclass(frozen=True, kw_only=True)
class Examined:
    """The answer to every row, the rows that would be written, and whether the file is here already."""

    answers: list[Answer]
    sprays: list[BroughtSpray]
    closures: dict[int, list[NewClosure]]
    known: BroughtFile | None

    @property
    def good(self) -> bool:
        return not any(a.faults for a in self.answers)


def examine(farm: Farm, text: str, now: datetime) -> Examined:
    """Answer every row and write nothing: the dry run. ``BadInput`` on ``file`` for what is no such file."""
    known = bringing.files(farm).filter(digest=bringing.digest_of(text)).first()
    if known is not None:
        return Examined(answers=read(text), sprays=[], closures={}, known=known)
    return _Examination(farm, now).of(read(text))


@transaction.atomic
def bring_in(*, member: Member, name: str, text: str, now: datetime) -> BroughtFile:
    """Write every row of the file, or none: ``BadInput`` names each row that cannot be.

    The same file again changes nothing and is answered with what is there. Waits that still run close the blocks.
    """
    member.require(Can.PLAN_JOBS)
    farm = Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)
    found = examine(farm, text, now)
    if found.known is not None:
        return found.known
    if not found.good:
        raise BadInput({f"row {a.row}": [plain(f) for f in a.faults] for a in found.answers if a.faults})
    file: BroughtFile = BroughtFile.objects.add(
        farm=farm,
        name=" ".join(name.split())[:200] or "file",
        digest=bringing.digest_of(text),
        text=text.removeprefix("\ufeff"),
        rows_count=len(found.sprays),
        brought_by_id=member.person_id,
        brought_at=now,
    )
    for spray in found.sprays:
        spray.file = file
    BroughtSpray.objects.for_farm(farm).bulk_create(found.sprays, batch_size=300)
    for row, closures in sorted(found.closures.items()):
        safety.hang_closures(farm=farm, member=member, source=f"brought:{file.pk}:{row}", closures=closures, now=now)
    after = {"rows": file.rows_count, "digest": file.digest}
    audit.record(farm=farm, actor=member, verb="brought in", subject=file, now=now, after=after)
    return file


def plain(fault: Fault) -> str:
    """A fault in English, with its column."""
    said = wording.fill(fault.template, fault.numbers, "en")
    return f"{fault.column}: {said}" if fault.column else said


class _Examination:
    """One reading of the farm, against which every row is held."""

    def __init__(self, farm: Farm, now: datetime) -> None:
        self.farm, self.now, self.labels = farm, now, Labels()
        self.today = clock.to_local(now, farm.time_zone).date()
        self.blocks = _named((b, (b.code, b.name, str(b))) for b in land.all_blocks(farm))
        products = Product.objects.for_farm(farm).order_by("pk")
        self.products = _named((p, (p.name, p.registration_number)) for p in products)
        self.crops = _named((c, (c.code, c.name)) for c in Crop.objects.for_farm(farm))
        self.versions: dict[int, list[LabelVersion]] = {}
        checked = label_versions(farm).filter(checked_at__isnull=False, withdrawn_at=None)
        for version in checked.order_by("effective_on", "number"):
            self.versions.setdefault(version.product_id, []).append(version)
        self.taken = self._taken()
        self.stood: dict[tuple[int, date], str] = {}

    def of(self, answers: list[Answer]) -> Examined:
        held = [self._held(a) for a in answers]
        sprays = [spray for _, spray in held if spray is not None]
        closures, faults = self._closures(sprays)
        said = [replace(a, faults=(*a.faults, *faults.get(a.row, ()))) for a, _ in held]
        return Examined(answers=said, sprays=sprays, closures=closures, known=None)

    def _held(self, answer: Answer) -> tuple[Answer, BroughtSpray | None]:
        """A row held against the farm."""
        if answer.typed is None:
            return answer, None
        faults: list[Fault] = []
        spray = self._spray(answer.typed, faults)
        return replace(answer, faults=tuple(faults)), None if faults else spray

    def _spray(self, row: Typed, faults: list[Fault]) -> BroughtSpray | None:
        block = _pick(self.blocks, row.block, "block", _NO_BLOCK, faults)
        product = _pick(self.products, row.product, "product", _NO_PRODUCT, faults)
        times = self._times(row, faults)
        if block is None or product is None or times is None:
            return None
        version = self._label(product, row.day)
        if version is None:
            faults.append(Fault(column="product", template=_NO_LABEL, numbers={"product": product.name}))
            return None
        self._units(row, version, faults)
        self._place(row, block, faults)
        self._once(row, block, product, faults)
        started_at, ended_at = times
        return BroughtSpray(
            farm=self.farm,
            row=row.row,
            block=block,
            product=product,
            label_version=version,
            site_code=self._site(row, block, faults),
            started_at=started_at,
            ended_at=ended_at,
            date_only=row.start is None,
            treated_acres=row.acres,
            amount=row.amount,
            unit=row.unit,
            spray_gpa=row.spray_gpa,
            applicator=row.applicator,
            certificate=row.certificate,
            targets=list(row.targets),
            note=row.note,
        )

    def _times(self, row: Typed, faults: list[Fault]) -> tuple[datetime, datetime] | None:
        """Start and end; a day alone counts from its first to its last minute (project rule)."""
        midnight = datetime.combine(row.day, datetime.min.time())
        local = (row.start or midnight, row.end or midnight + DAY_OVER)
        try:
            start, end = (
                clock.to_utc(at, self.farm.time_zone, field=name, fold=None if row.start else 1)
                for at, name in zip(local, ("start", "end"), strict=True)
            )
        except BadInput as bad:
            faults += [Fault(column=c, template=s) for c, said in bad.errors.items() for s in said]
            return None
        if row.day > self.today or (row.start is not None and end > self.now):
            faults.append(Fault(column="date", template=gettext_noop("That is in the future.")))
            return None
        if row.start is None and row.day == self.today:
            faults.append(Fault(column="date", template=_TODAY))
            return None
        return start, end

    def _label(self, product: Product, day: date) -> LabelVersion | None:
        """The checked version in force that day; before the first, the first: its limits are the best that is known."""
        versions = self.versions.get(product.pk, [])
        in_force = [v for v in versions if v.effective_on <= day]
        return in_force[-1] if in_force else versions[0] if versions else None

    def _units(self, row: Typed, version: LabelVersion, faults: list[Fault]) -> None:
        label = self.labels.facts(version)
        units = {dimension_of(use.rate_unit) for use in label.uses if use.rate_unit}
        if units and measures(row.unit) not in units and label.density_lb_per_gal is None:
            faults.append(Fault(column="unit", template=_OTHER_UNIT, numbers={"product": version.product.name}))

    def _place(self, row: Typed, block: Block, faults: list[Fault]) -> None:
        most = max(block.planted_acres, block.mapped_acres) * 3 / 2
        if row.acres > most:
            faults.append(Fault(column="acres", template=gettext_noop("That is more than the block holds.")))

    def _once(self, row: Typed, block: Block, product: Product, faults: list[Fault]) -> None:
        """Nothing is counted twice: not within the file, not with an earlier file, not with a job in the book."""
        key = (block.pk, product.pk, row.day, row.start)
        loose = (block.pk, product.pk, row.day, None)
        where = self.taken.get(key) or (self.taken.get(loose) if row.start is None else None) or self.taken.get(
            (block.pk, product.pk, row.day, "job")
        )  # fmt: skip
        if where:
            faults.append(Fault(column="", template=_TWICE, numbers={"where": where}))
        self.taken.setdefault(key, f"row {row.row}")
        self.taken.setdefault(loose, f"row {row.row}")

    def _taken(self) -> dict[tuple[int, int, date, object], str]:
        """(block, product, day, start or "job") -> where it stands already."""
        zone, found = self.farm.time_zone, {}
        for spray in bringing.brought(self.farm):
            local = clock.to_local(spray.started_at, zone)
            start = None if spray.date_only else local.replace(tzinfo=None)
            for at in (start, None):
                found.setdefault((spray.block_id, spray.product_id, local.date(), at), str(spray))
        jobs = JobBlock.objects.for_farm(self.farm).filter(
            job__state__in=[JobState.SPRAYING, JobState.SPRAYED, JobState.SIGNED]
        )
        lines = jobs.values_list("block_id", "job__job_products__product_id", "job__started_at", "job__number")
        for block_id, product_id, started_at, job in lines:
            found.setdefault((block_id, product_id, clock.to_local(started_at, zone).date(), "job"), f"job {job}")
        return found

    def _site(self, row: Typed, block: Block, faults: list[Fault]) -> str:
        """The crop that stood there: as the file says, else as the book knows."""
        if row.crop:
            crop = _pick(self.crops, row.crop, "crop", _NO_CROP, faults)
            return str(crop.code) if crop is not None else ""
        key = (block.pk, row.day)
        if key not in self.stood:
            self.stood[key] = crop_facts([block], row.day)[block.pk].site_code or ""
        return self.stood[key]

    def _closures(self, sprays: list[BroughtSpray]) -> tuple[dict[int, list[NewClosure]], dict[int, list[Fault]]]:
        """row -> the waits of its tank that still run; row -> what a label must say first."""
        hung: dict[int, list[NewClosure]] = {}
        faults: dict[int, list[Fault]] = {}
        recent = [s for s in sprays if s.ended_at > self.now - WAITS_MATTER]
        recent.sort(key=lambda s: (s.block_id, s.started_at, s.ended_at, s.row))
        for _, group in groupby(recent, key=lambda s: (s.block_id, s.started_at, s.ended_at)):
            tank = list(group)
            unknown, running = self._waits(tank)
            for name in unknown:
                faults.setdefault(tank[0].row, []).append(
                    Fault(column="product", template=_NO_WAIT, numbers={"product": name})
                )
            if running:
                hung[tank[0].row] = running
        return hung, faults

    def _waits(self, tank: list[BroughtSpray]) -> tuple[list[str], list[NewClosure]]:
        first, site = tank[0], tank[0].site_code or None
        lines = bringing.lines_of(tank, self.labels, mix_line)
        closures = for_signature(
            first.block_id,
            started_at=first.started_at,
            ended_at=first.ended_at,
            intervals=entry_intervals(lines, site, first.spray_gpa),
            waits=harvest_waits(lines, site, first.spray_gpa),
            zone=self.farm.time_zone,
        )
        fresh = first.ended_at > self.now - timedelta(days=30)
        open_ended = [c for c in closures if c.ends_at is None and (c.reason_code not in CONDITIONS or fresh)]
        running = [c for c in closures if c.ends_at is not None and c.ends_at > self.now]
        return list(dict.fromkeys(n for c in open_ended for n in c.product_names)), running


_OTHER_UNIT = gettext_noop("The label of {product} measures it otherwise (liquid or weight) and states no density.")
_NO_BLOCK = gettext_noop("There is no block “{typed}”. Use its code.")
_NO_PRODUCT = gettext_noop("There is no product “{typed}” in the library. Add it with its label first.")
_NO_CROP = gettext_noop("There is no crop “{typed}” in the book.")
_NO_LABEL = gettext_noop("{product} has no checked label: its limits cannot be counted. Check its label first.")
_NO_WAIT = gettext_noop(
    "{product}: its label does not say how long to wait on this crop, and the spray is not long ago. Complete the "
    "label first, or plan it as a job and report it late."
)
_TWICE = gettext_noop("The same product on the same block and day is there already: {where}.")
_TODAY = gettext_noop("For a spray of today give start and end, or plan it as a job and report it late.")


def _named(rows: Iterable[tuple[object, tuple[str, ...]]]) -> dict[str, list[object]]:
    """name, in lower case -> everything called so."""
    found: dict[str, list[object]] = {}
    for row, names in rows:
        for name in dict.fromkeys(" ".join(n.lower().split()) for n in names if n.strip()):
            found.setdefault(name, []).append(row)
    return found


def _pick(named: dict[str, list[object]], typed: str, column: str, none: str, faults: list[Fault]):  # type: ignore[no-untyped-def]
    found = named.get(" ".join(typed.lower().split()), [])
    if len(found) == 1:
        return found[0]
    several = gettext_noop("There are several called “{typed}”. Use the code or number.")
    faults.append(Fault(column=column, template=several if found else none, numbers={"typed": typed}))
    return None
