"""What the kinds of notices are called where a person chooses among them. Plain Python."""

from __future__ import annotations

from farmops.errors import gettext_noop

KIND_NAMES = {
    "calibration_ending": gettext_noop("Calibration ends in weeks"),
    "calibration_ends_soon": gettext_noop("Calibration ends within a week"),
    "certificate_ending": gettext_noop("Certificate ends in weeks"),
    "certificate_ends_soon": gettext_noop("Certificate ends within a week"),
    "chain_head": gettext_noop("Proof of the records"),
    "correction_answered": gettext_noop("A correction was answered"),
    "correction_asked": gettext_noop("A correction is asked for"),
    "correction_waits": gettext_noop("A correction waits for your answer"),
    "cover_stage": gettext_noop("Cover crop reaches its stage"),
    "display_due": gettext_noop("Posted papers are due"),
    "display_over": gettext_noop("Posted papers may come down"),
    "entry_opens": gettext_noop("Entry time has run"),
    "harvest_begins": gettext_noop("Harvest may begin"),
    "harvest_opens": gettext_noop("Wait before harvest has run"),
    "job_assigned": gettext_noop("Spray job given to you"),
    "job_called_off": gettext_noop("Spray job called off"),
    "job_finished": gettext_noop("Spray job finished"),
    "job_not_applied": gettext_noop("Spray job not applied"),
    "job_over_label": gettext_noop("Spray job outside the label"),
    "job_reopened": gettext_noop("Spray record opened again"),
    "job_signed": gettext_noop("Spray job signed"),
    "job_unreported": gettext_noop("Spray job past its window, not reported"),
    "job_unsigned": gettext_noop("Spray job finished, not signed"),
    "job_weather": gettext_noop("Weather turns against a spray job"),
    "letter_lost": gettext_noop("E-mail does not arrive"),
    "lot_expiring": gettext_noop("Lot expires"),
    "packet_failed": gettext_noop("Inspection packet failed"),
    "packet_ready": gettext_noop("Inspection packet ready"),
    "possible_exposure": gettext_noop("Possible exposure"),
    "program_missed": gettext_noop("Spray program missed"),
    "program_rain": gettext_noop("Rain since the last spray"),
    "program_window": gettext_noop("Spray program window"),
    "record_due": gettext_noop("Record is due soon"),
    "record_overdue": gettext_noop("Record is late"),
    "sign_down_due": gettext_noop("Take a sign down"),
    "sign_up_due": gettext_noop("Put a sign up"),
    "spray_due": gettext_noop("Next spray fits"),
    "spray_missed": gettext_noop("Next spray missed"),
    "stock_for_plans": gettext_noop("Stock short for planned jobs"),
    "task_assigned": gettext_noop("Task given to you"),
    "task_called_off": gettext_noop("Task called off"),
    "task_coming": gettext_noop("Task begins soon"),
    "tell_workers_due": gettext_noop("Tell workers by word of mouth"),
    "threshold_reached": gettext_noop("Scouting threshold reached"),
    "training_ending": gettext_noop("Training ends in weeks"),
    "training_ends_soon": gettext_noop("Training ends within a week"),
    "webhook_failing": gettext_noop("Another program takes no notices"),
    "webhook_off": gettext_noop("Another program was turned off"),
}


def name_of(kind: str) -> str:
    """The kind in words (to be translated); an unnamed one by its code."""
    return KIND_NAMES.get(kind, kind.replace("_", " ").capitalize())
