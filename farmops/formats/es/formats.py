"""Decimal point and no thousands mark in either language (a dose must never change by locale)."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ""
NUMBER_GROUPING = 0
DATE_INPUT_FORMATS = ["%Y-%m-%d"]
TIME_INPUT_FORMATS = ["%H:%M", "%I:%M %p"]
DATETIME_INPUT_FORMATS = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"]
