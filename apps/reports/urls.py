"""Addresses of reports."""

from django.urls import path

from apps.reports import api, pages
from apps.reports.packet import api as packet_api
from apps.reports.packet import pages as packet_pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "audit/", api.AuditEvents.as_view(), name="api_audit"),
    path(F + "exports/spray-records/", api.SprayRecordsFile.as_view(), name="api_export_records"),
    path(F + "exports/spray-products/", api.SprayProductsFile.as_view(), name="api_export_products"),
    path(F + "exports/stock-ledger/", api.StockLedgerFile.as_view(), name="api_export_ledger"),
    path(F + "packets/", packet_api.Packets.as_view(), name="api_packets"),
    path(F + "packets/<int:packet>/", packet_api.OnePacket.as_view(), name="api_packet"),
    path(F + "packets/<int:packet>/files/<str:name>/", packet_api.PacketFile.as_view(), name="api_packet_file"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "audit/", pages.Audit.as_view(), name="audit"),
    path(P + "exports/", pages.Exports.as_view(), name="exports"),
    path(P + "exports/spray-records/", pages.SprayRecordsPage.as_view(), name="spray-records"),
    path(P + "exports/spray-products/", pages.SprayProductsPage.as_view(), name="spray-products"),
    path(P + "exports/stock-ledger/", pages.StockLedgerPage.as_view(), name="stock-ledger"),
    path(P + "packets/", packet_pages.Packets.as_view(), name="packets"),
    path(P + "packets/<int:packet>/", packet_pages.OnePacket.as_view(), name="packet"),
    path(P + "packets/<int:packet>/files/<str:name>/", packet_pages.PacketFile.as_view(), name="packet-file"),
]
