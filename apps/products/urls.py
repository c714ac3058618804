"""Addresses of the label library."""

from django.urls import path

from apps.products import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "products/", api.Products.as_view(), name="api_products"),
    path(F + "products/<int:product>/", api.OneProduct.as_view(), name="api_product"),
    path(F + "products/<int:product>/label/", api.LabelInForce.as_view(), name="api_label_in_force"),
    path(F + "products/<int:product>/labels/", api.LabelVersions.as_view(), name="api_labels"),
    path(F + "labels/<int:label>/", api.OneLabel.as_view(), name="api_label"),
    path(F + "labels/<int:label>/check/", api.CheckLabel.as_view(), name="api_check_label"),
    path(F + "labels/<int:label>/withdraw/", api.WithdrawLabel.as_view(), name="api_withdraw_label"),
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
]
