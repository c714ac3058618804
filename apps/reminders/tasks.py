"""Celery's only task: sweep now. What is due stands in the database, never in the broker."""

from __future__ import annotations

from celery import shared_task

from apps.reminders import services
from farmops import clock


@shared_task(name="reminders.sweep", ignore_result=True)
def sweep() -> None:
    services.sweep(clock.now(), machine=clock.machine_now())
