"""Addresses of the label library."""

from django.urls import path

from apps.products import api, pages
from apps.products.sds import api as sds_api
from apps.products.sds import pages as sds_pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "products/", api.Products.as_view(), name="api_products"),
    path(F + "products/<int:product>/", api.OneProduct.as_view(), name="api_product"),
    path(F + "products/<int:product>/label/", api.LabelInForce.as_view(), name="api_label_in_force"),
    path(F + "products/<int:product>/labels/", api.LabelVersions.as_view(), name="api_labels"),
    path(F + "labels/<int:label>/", api.OneLabel.as_view(), name="api_label"),
    path(F + "labels/<int:label>/check/", api.CheckLabel.as_view(), name="api_check_label"),
    path(F + "labels/<int:label>/withdraw/", api.WithdrawLabel.as_view(), name="api_withdraw_label"),
    path(F + "products/<int:product>/safety-sheets/", sds_api.KeepSheet.as_view(), name="api_keep_safety_sheet"),
    path(F + "safety-sheets/", sds_api.Sheets.as_view(), name="api_safety_sheets"),
    path(F + "safety-sheets/<int:sheet>/file/", sds_api.SheetFile.as_view(), name="api_safety_sheet_file"),
    path(F + "safety-sheets/<int:sheet>/remove/", sds_api.RemoveSheet.as_view(), name="api_remove_safety_sheet"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "labels/", pages.Library.as_view(), name="library"),
    path(P + "labels/new-product/", pages.AddProduct.as_view(), name="add_product"),
    path(P + "products/<int:product>/", pages.OneProduct.as_view(), name="product"),
    path(P + "products/<int:product>/edit/", pages.EditProduct.as_view(), name="edit_product"),
    path(P + "products/<int:product>/new-label/", pages.DraftLabel.as_view(), name="draft_label"),
    path(P + "labels/<int:label>/", pages.OneLabel.as_view(), name="label"),
    path(P + "labels/<int:label>/edit/", pages.EditDraft.as_view(), name="edit_draft"),
    path(P + "labels/<int:label>/check/", pages.CheckLabel.as_view(), name="check_label"),
    path(P + "labels/<int:label>/withdraw/", pages.WithdrawLabel.as_view(), name="withdraw_label"),
    path(P + "products/<int:product>/safety-sheet/", sds_pages.KeepSheet.as_view(), name="keep_safety_sheet"),
    path(P + "safety-sheets/<int:sheet>/file/", sds_pages.SheetFile.as_view(), name="safety_sheet_file"),
    path(P + "safety-sheets/<int:sheet>/remove/", sds_pages.RemoveSheet.as_view(), name="remove_safety_sheet"),
]
