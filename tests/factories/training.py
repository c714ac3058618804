"""Certificates and trainings, all invented."""

from __future__ import annotations

import zlib
from datetime import UTC, date, datetime

import factory

from apps.training.models import Certificate, Suspension, TrainingRecord
from tests.factories.base import FarmOwnedFactory
from tests.factories.people import FarmFactory, PersonFactory


class CertificateFactory(FarmOwnedFactory):
    """A private applicator's certificate from the farm's own state."""

    class Meta:
        model = Certificate

    farm = factory.SubFactory(FarmFactory)
    person = factory.SubFactory(PersonFactory)
    number = factory.Sequence(lambda n: f"P-{1000 + n}")
    jurisdiction = factory.SelfAttribute("farm.jurisdiction")
    kind = "private"
    categories = factory.LazyFunction(lambda: ["general"])
    valid_from = date(2024, 1, 1)
    valid_to = date(2027, 12, 31)
    recorded_at = datetime(2026, 1, 5, 15, tzinfo=UTC)
    recorded_by = factory.SubFactory(PersonFactory)


class SuspensionFactory(FarmOwnedFactory):
    class Meta:
        model = Suspension

    certificate = factory.SubFactory(CertificateFactory)
    farm = factory.SelfAttribute("certificate.farm")
    from_on = date(2026, 5, 1)
    reason = "Inquiry"
    recorded_by = factory.SubFactory(PersonFactory)


class TrainingFactory(FarmOwnedFactory):
    class Meta:
        model = TrainingRecord

    farm = factory.SubFactory(FarmFactory)
    person = factory.SubFactory(PersonFactory)
    kind = "handler"
    trained_on = date(2026, 3, 2)
    recorded_at = datetime(2026, 3, 3, 15, tzinfo=UTC)
    recorded_by = factory.SubFactory(PersonFactory)


def a_png(width: int = 8, shade: int = 200) -> bytes:
    """A whole PNG (ISO/IEC 15948): signature, header, pixels, end."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return len(data).to_bytes(4, "big") + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")

    head = width.to_bytes(4, "big") * 2 + bytes([8, 0, 0, 0, 0])
    pixels = zlib.compress((b"\0" + bytes([shade]) * width) * width)
    text = chunk(b"tEXt", b"Comment\0a card" + b"." * 60)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + text + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
