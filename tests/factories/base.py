"""Base of factories for farm-owned rows: they insert through the plain manager."""

from __future__ import annotations

from typing import Any

import factory


class FarmOwnedFactory(factory.django.DjangoModelFactory):
    class Meta:
        abstract = True

    @classmethod
    def _get_manager(cls, model_class: Any) -> Any:
        return getattr(model_class, "rows", model_class._default_manager)
