"""Growth stages as labels name them: the same words and order as scouts use."""

from apps.crops.rules.stages import STAGES, earlier, is_stage, later, reached

__all__ = ["STAGES", "earlier", "is_stage", "later", "reached"]
