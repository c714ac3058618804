"""Shapes of gate codes."""

from __future__ import annotations

from rest_framework import serializers

from apps.safety.gate import qr
from apps.safety.gate.models import GateCode


class GateCodeOut(serializers.Serializer):
    """A code in force or revoked; ``address`` is what its square opens."""

    id = serializers.IntegerField()
    block_id = serializers.IntegerField()
    code = serializers.CharField()
    address = serializers.SerializerMethodField()
    issued_at = serializers.DateTimeField()
    revoked_at = serializers.DateTimeField(allow_null=True)

    def get_address(self, row: GateCode) -> str:
        return qr.address_of(row.code)
