"""Addresses of the shed."""

from django.urls import path

from apps.inventory import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "shed/", api.Shed.as_view(), name="api_shed"),
    path(F + "shed/<int:product>/", api.OneStock.as_view(), name="api_stock"),
    path(F + "shed/<int:product>/deliveries/", api.Deliveries.as_view(), name="api_deliveries"),
    path(F + "lots/", api.Lots.as_view(), name="api_lots"),
    path(F + "lots/<int:lot>/", api.OneLot.as_view(), name="api_lot"),
    path(F + "lots/<int:lot>/counts/", api.Counts.as_view(), name="api_counts"),
    path(F + "lots/<int:lot>/adjustments/", api.Adjustments.as_view(), name="api_adjustments"),
    path(F + "ledger/", api.Ledger.as_view(), name="api_ledger"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "shed/", pages.Shed.as_view(), name="shed"),
    path(P + "shed/delivery/", pages.Delivery.as_view(), name="delivery"),
    path(P + "shed/<int:product>/", pages.OneStock.as_view(), name="stock"),
    path(P + "shed/<int:product>/delivery/", pages.Delivery.as_view(), name="delivery_of"),
    path(P + "shed/lots/<int:lot>/count/", pages.Count.as_view(), name="count"),
    path(P + "shed/lots/<int:lot>/edit/", pages.EditLot.as_view(), name="edit_lot"),
]
