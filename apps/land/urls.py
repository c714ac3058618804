"""Addresses of the ground."""

from django.urls import path

from apps.land import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "fields/", api.Fields.as_view(), name="api_fields"),
    path(F + "fields/<int:field>/", api.OneField.as_view(), name="api_field"),
    path(F + "blocks/", api.Blocks.as_view(), name="api_blocks"),
    path(F + "blocks/<int:block>/", api.OneBlock.as_view(), name="api_block"),
    path(F + "blocks/<int:block>/archive/", api.ArchiveBlock.as_view(), name="api_archive_block"),
    path(F + "blocks/<int:block>/restore/", api.RestoreBlock.as_view(), name="api_restore_block"),
    path(F + "blocks/<int:block>/split/", api.SplitBlock.as_view(), name="api_split_block"),
    path(F + "blocks/merge/", api.MergeBlocks.as_view(), name="api_merge_blocks"),
    path(F + "blocks/<int:block>/ground-history/", api.GroundHistory.as_view(), name="api_ground_history"),
    path(F + "blocks/<int:block>/surroundings/", api.Surroundings.as_view(), name="api_surroundings"),
    path(F + "sensitive-places/", api.SensitivePlaces.as_view(), name="api_places"),
    path(F + "sensitive-places/<int:place>/", api.OneSensitivePlace.as_view(), name="api_place"),
    path(F + "sensitive-places/<int:place>/remove/", api.RemoveSensitivePlace.as_view(), name="api_remove_place"),
    path(F + "map/", api.FarmMap.as_view(), name="api_map"),
    path(F + "map/import/", api.ImportMap.as_view(), name="api_import_map"),
]

# The list of fields and the page of a block show crops too, so they stand in crops.
P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "fields/new/", pages.AddField.as_view(), name="add_field"),
    path(P + "fields/<int:field>/edit/", pages.EditField.as_view(), name="edit_field"),
    path(P + "fields/<int:field>/blocks/new/", pages.AddBlock.as_view(), name="add_block"),
    path(P + "blocks/<int:block>/edit/", pages.EditBlock.as_view(), name="edit_block"),
    path(P + "blocks/<int:block>/archive/", pages.ArchiveBlock.as_view(), name="archive_block"),
    path(P + "blocks/<int:block>/split/", pages.SplitBlock.as_view(), name="split_block"),
    path(P + "fields/<int:field>/merge/", pages.MergeBlocks.as_view(), name="merge_blocks"),
    path(P + "blocks/<int:block>/restore/", pages.RestoreBlock.as_view(), name="restore_block"),
    path(P + "places/", pages.Places.as_view(), name="places"),
    path(P + "places/<int:place>/", pages.EditPlace.as_view(), name="edit_place"),
    path(P + "places/<int:place>/remove/", pages.RemovePlace.as_view(), name="remove_place"),
    path(P + "map/", pages.MapFile.as_view(), name="map"),
    path(P + "map/farm.geojson", pages.DownloadMap.as_view(), name="download_map"),
]
