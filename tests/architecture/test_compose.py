"""docker-compose.yml as far as it can be checked without an engine: names, order, health, secrets, settings."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[2]
BOOK = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES = BOOK["services"]
OURS = ["migrate", "web", "worker", "beat"]


def test_the_whole_product_is_there():
    assert set(SERVICES) == {"proxy", "migrate", "web", "worker", "beat", "db", "redis"}


def test_whoever_is_waited_for_exists_and_can_be_waited_for():
    for name, service in SERVICES.items():
        for other, how in service.get("depends_on", {}).items():
            assert other in SERVICES, name
            if how["condition"] == "service_healthy":
                assert "healthcheck" in SERVICES[other], f"{name} waits for the health of {other}"


def test_secrets_are_files_and_every_one_used_is_defined():
    used = {secret for service in SERVICES.values() for secret in service.get("secrets", [])}
    assert used == set(BOOK["secrets"])
    assert all(set(s) == {"file"} for s in BOOK["secrets"].values())
    ignored = (ROOT / ".gitignore").read_text().split()
    assert ".docker/secrets/" in ignored


@pytest.mark.parametrize("name", OURS)
def test_every_setting_handed_over_is_one_the_settings_read(name):
    settings = (ROOT / "farmops/settings.py").read_text()
    assert [key for key in SERVICES[name]["environment"] if f'"{key}"' not in settings] == []


@pytest.mark.parametrize("name", OURS)
def test_our_containers_run_without_rights_and_without_a_writable_disk(name):
    service = SERVICES[name]
    assert (service["user"], service["read_only"], service["cap_drop"]) == ("10001:10001", True, ["ALL"])


def test_the_image_and_the_proxy_name_what_exists():
    recipe = (ROOT / ".docker/Dockerfile").read_text()
    copied = re.findall(r"^COPY (\S+)", recipe, re.M)
    assert [path for path in copied if not (ROOT / path).exists()] == []
    marker = re.search(r"/\^(# --- testing ---)/", recipe)
    assert marker and f"\n{marker[1]}\n" in (ROOT / "requirements.txt").read_text()
    proxy = (ROOT / ".docker/nginx.conf").read_text()
    assert "server web:8000;" in proxy and SERVICES["proxy"]["ports"][0].endswith(":8080") and "listen 8080;" in proxy
