"""Reading gate codes."""

from __future__ import annotations

from dataclasses import dataclass

from apps.land import queries as land
from apps.land.models import Block
from apps.people.models import Farm
from apps.safety.gate import rules
from apps.safety.gate.models import GateCode


def in_force(typed: str) -> GateCode | None:
    """The code with its block, field and farm, if it is in force. One query, whether it exists or not."""
    code = rules.tidy(typed)[: rules.CODE_LENGTH + 1]
    found = GateCode.rows.filter(code=code, revoked_at=None)
    row: GateCode | None = found.select_related("block__field", "block__farm", "farm").first()
    return row


@dataclass(frozen=True, kw_only=True)
class Plate:
    """A block in use and its code in force, if it has one."""

    block: Block
    code: GateCode | None

    @property
    def shown(self) -> str:
        """The code in groups, for reading aloud."""
        return rules.in_groups(self.code.code) if self.code else ""


def plates(farm: Farm) -> list[Plate]:
    """Every block in use with its code in force. Two queries."""
    codes = {row.block_id: row for row in GateCode.objects.for_farm(farm).filter(revoked_at=None)}
    return [Plate(block=block, code=codes.get(block.pk)) for block in land.blocks(farm)]
