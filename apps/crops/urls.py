"""Addresses of crops, and the two pages that show ground and crops together."""

from django.urls import path

from apps.crops import api, api_counts, count_pages, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "known-crops/", api.KnownCrops.as_view(), name="api_known_crops"),
    path(F + "crops/", api.Crops.as_view(), name="api_crops"),
    path(F + "crops/<int:crop>/", api.OneCrop.as_view(), name="api_crop"),
    path(F + "varieties/", api.Varieties.as_view(), name="api_varieties"),
    path(F + "plantings/", api.Plantings.as_view(), name="api_plantings"),
    path(F + "plantings/<int:planting>/", api.OnePlanting.as_view(), name="api_planting"),
    path(F + "plantings/<int:planting>/call-off/", api.CallOffPlanting.as_view(), name="api_call_off_planting"),
    path(F + "plantings/<int:planting>/events/", api.RecordPlantingEvent.as_view(), name="api_record_event"),
    path(F + "planting-events/<int:event>/withdraw/", api.WithdrawPlantingEvent.as_view(), name="api_withdraw_event"),
    path(F + "scouting/", api.ScoutingNotes.as_view(), name="api_scouting"),
    path(F + "scouting/<int:note>/withdraw/", api.WithdrawScouting.as_view(), name="api_withdraw_scouting"),
    path(F + "scouting/counts/", api_counts.ScoutCounts.as_view(), name="api_counts"),
    path(F + "scouting/counts/<int:count>/", api_counts.OneScoutCount.as_view(), name="api_count"),
    path(
        F + "scouting/counts/<int:count>/withdraw/", api_counts.WithdrawScoutCount.as_view(), name="api_withdraw_count"
    ),
    path(F + "scouting/thresholds/", api_counts.Thresholds.as_view(), name="api_thresholds"),
    path(F + "scouting/thresholds/<slug:threshold>/", api_counts.OneThreshold.as_view(), name="api_threshold"),
    path(F + "blocks/<int:block>/crop/", api.CropOnBlock.as_view(), name="api_crop_on_block"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "fields/", pages.Fields.as_view(), name="fields"),
    path(P + "blocks/<int:block>/", pages.BlockPage.as_view(), name="block"),
    path(P + "blocks/<int:block>/scout/", pages.Scout.as_view(), name="scout"),
    path(P + "blocks/<int:block>/count/", count_pages.ChooseCount.as_view(), name="choose_count"),
    path(P + "blocks/<int:block>/count/<slug:threshold>/", count_pages.MakeCount.as_view(), name="count"),
    path(P + "scouting/counts/<int:count>/", count_pages.CountPage.as_view(), name="counted"),
    path(P + "scouting/counts/<int:count>/withdraw/", count_pages.WithdrawCount.as_view(), name="withdraw_count"),
    path(P + "scouting/thresholds/", count_pages.ThresholdList.as_view(), name="thresholds"),
    path(P + "scouting/thresholds/new/", count_pages.AddThreshold.as_view(), name="add_threshold"),
    path(P + "scouting/thresholds/<slug:threshold>/", count_pages.EditThreshold.as_view(), name="threshold"),
    path(P + "blocks/<int:block>/plant/", pages.PlanPlanting.as_view(), name="plan"),
    path(P + "crops/", pages.CropList.as_view(), name="crops"),
    path(P + "crops/<int:crop>/", pages.CropPage.as_view(), name="crop"),
    path(P + "crops/<int:crop>/varieties/new/", pages.AddVariety.as_view(), name="add_variety"),
    path(P + "plantings/<int:planting>/", pages.PlantingPage.as_view(), name="planting"),
    path(P + "plantings/<int:planting>/edit/", pages.EditPlanting.as_view(), name="edit_planting"),
    path(P + "plantings/<int:planting>/call-off/", pages.CallOffPlanting.as_view(), name="call_off"),
    path(P + "planting-events/<int:event>/withdraw/", pages.WithdrawEvent.as_view(), name="withdraw_event"),
    path(P + "scouting/<int:note>/withdraw/", pages.WithdrawNote.as_view(), name="withdraw_note"),
]
