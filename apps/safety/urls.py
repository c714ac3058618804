"""Addresses of the board."""

from django.urls import path

from apps.safety import api, pages
from apps.safety.early import api as early_api
from apps.safety.early import pages as early
from apps.safety.gate import api as gate_api
from apps.safety.gate import pages as gate
from apps.safety.phones import api as phones_api
from apps.safety.phones import pages as phones
from apps.safety.posting import api as posting_api
from apps.safety.posting import pages as posting
from apps.safety.seen import api as seen_api
from apps.safety.seen import pages as seen

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "board/", api.Board.as_view(), name="api_board"),
    path(F + "activities/", api.Activities.as_view(), name="api_activities"),
    path(F + "blocks/<int:block>/entry/", api.Entry.as_view(), name="api_entry"),
    path(F + "blocks/<int:block>/harvest/", api.HarvestHold.as_view(), name="api_harvest"),
    path(F + "blocks/<int:block>/closures/", api.BlockClosures.as_view(), name="api_block_closures"),
    path(F + "closures/<int:closure>/attest/", api.Attest.as_view(), name="api_attest"),
    path(F + "early-entries/", early_api.EarlyEntries.as_view(), name="api_early_entries"),
    path(F + "early-entries/<int:entry>/left/", early_api.EarlyEntryLeft.as_view(), name="api_early_entry_left"),
    path(F + "blocks/<int:block>/early-entry/", early_api.DecideEarlyEntry.as_view(), name="api_decide_early_entry"),
    path(F + "blocks/<int:block>/early-entry/look/", early_api.LookAtEarlyEntry.as_view(), name="api_look_early_entry"),
    path(F + "answers-given/", seen_api.AnswersGiven.as_view(), name="api_answers_given"),
    path(F + "exposures/", seen_api.PossibleExposures.as_view(), name="api_exposures"),
    path(F + "signs/", posting_api.Signs.as_view(), name="api_signs"),
    path(F + "signs/<int:posting>/up/", posting_api.SignUp.as_view(), name="api_sign_up"),
    path(F + "signs/<int:posting>/down/", posting_api.SignDown.as_view(), name="api_sign_down"),
    path(F + "signs/<int:posting>/told/", posting_api.WorkersTold.as_view(), name="api_workers_told"),
    path(F + "gate-codes/", gate_api.GateCodes.as_view(), name="api_gate_codes"),
    path(F + "gate-codes/<int:gate_code>/revoke/", gate_api.RevokeGateCode.as_view(), name="api_revoke_gate_code"),
    path(F + "blocks/<int:block>/gate-code/", gate_api.IssueGateCode.as_view(), name="api_issue_gate_code"),
    path(F + "phone-numbers/", phones_api.Numbers.as_view(), name="api_phone_numbers"),
    path(F + "phone-numbers/<int:number>/", phones_api.OneNumber.as_view(), name="api_phone_number"),
    path(F + "phone-numbers/<int:number>/remove/", phones_api.RemoveNumber.as_view(), name="api_remove_phone_number"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "board/", pages.BoardPage.as_view(), name="board"),
    path(P + "blocks/<int:block>/may-i-enter/", pages.MayEnter.as_view(), name="may_enter"),
    path(P + "blocks/<int:block>/confirm/", pages.Confirm.as_view(), name="confirm"),
    path(P + "blocks/<int:block>/early-entry/", early.EarlyEntryPage.as_view(), name="early_entry"),
    path(P + "early-entries/", early.EarlyEntries.as_view(), name="early_entries"),
    path(P + "exposures/", seen.Seen.as_view(), name="seen"),
    path(P + "exposures/<int:exposure>/", seen.Exposure.as_view(), name="exposure"),
    path(P + "signs/", posting.Signs.as_view(), name="signs"),
    path("g/", gate.TypedCode.as_view(), name="gate_code"),
    path("g/<str:plate>/", gate.Gate.as_view(), name="gate"),
    path(P + "gates/", gate.GateCodes.as_view(), name="gate_codes"),
    path(P + "gates/plates/", gate.Plates.as_view(), name="gate_plates"),
    path(P + "gates/plates.pdf", gate.PlatesPdf.as_view(), name="gate_plates_pdf"),
    path(P + "gates/<int:gate_code>/revoke/", gate.RevokeCode.as_view(), name="revoke_gate_code"),
    path(P + "blocks/<int:block>/gate-code/", gate.IssueCode.as_view(), name="issue_gate_code"),
    path(P + "phones/", phones.Phones.as_view(), name="phones"),
    path(P + "phones/new/", phones.AddNumber.as_view(), name="add_number"),
    path(P + "phones/<int:number>/", phones.EditNumber.as_view(), name="edit_number"),
    path(P + "phones/<int:number>/remove/", phones.RemoveNumber.as_view(), name="remove_number"),
    path(P + "no-connection/", phones.NoConnection.as_view(), name="no_connection"),
]
