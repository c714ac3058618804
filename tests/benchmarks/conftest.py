"""Benchmarks: what their fixture needs here."""

from __future__ import annotations

from _pytest.nodes import Node

if not hasattr(Node, "_nodeid"):
    # pytest-benchmark 5.2 reads Node._nodeid, which pytest 9.2 calls nodeid only.
    Node._nodeid = property(lambda node: node.nodeid)  # type: ignore[attr-defined]
