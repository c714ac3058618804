"""What is done with spray jobs: one function per action, each in one transaction."""

from apps.spraying.services.assign import assign_job, call_off
from apps.spraying.services.house import set_spray_settings
from apps.spraying.services.moves import must_be_possible
from apps.spraying.services.plan import edit_job, plan_job
from apps.spraying.services.sign import sign_not_applied, sign_off, void_signature
from apps.spraying.services.spray import correct_finish, finish_spraying, report_late, start_spraying

__all__ = [
    "assign_job",
    "call_off",
    "correct_finish",
    "edit_job",
    "finish_spraying",
    "must_be_possible",
    "plan_job",
    "report_late",
    "set_spray_settings",
    "sign_not_applied",
    "sign_off",
    "start_spraying",
    "void_signature",
]
