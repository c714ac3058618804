"""Worker and timetable. Celery only ever says "sweep now"; the database holds what is due."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")

app = Celery("farmops")
app.conf.update(
    broker_url=os.environ.get("REDIS_URL", ""),
    broker_connection_retry_on_startup=True,
    broker_transport_options={
        "visibility_timeout": 300,  # above the longest task, short enough that lost work returns soon
        "socket_timeout": 5,
        "socket_connect_timeout": 5,
        "socket_keepalive": True,
        "health_check_interval": 25,
    },
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_ignore_result=True,
    task_time_limit=120,
    task_soft_time_limit=90,
    worker_prefetch_multiplier=1,
    worker_max_tasks_per_child=500,
    worker_soft_shutdown_timeout=20,
    accept_content=["json"],
    timezone="UTC",
)
_seconds = float(os.environ.get("SWEEP_SECONDS", "60"))
app.conf.beat_schedule = {
    "sweep": {"task": "reminders.sweep", "schedule": _seconds, "options": {"expires": _seconds}},
}
app.autodiscover_tasks(["apps.reminders"])
