"""Whom to call: numbers the farm typed, readable without reception."""
