"""Every setting, each from the environment with an embedded default."""

from __future__ import annotations

import os
import secrets
import sys
from pathlib import Path

import dj_database_url

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(os.environ.get("FARMOPS_DATA", BASE_DIR / ".data"))
TESTING = "pytest" in sys.modules


def _flag(name: str, default: bool) -> bool:
    return os.environ.get(name, str(default)).strip().lower() in {"1", "true", "yes", "on"}


def _secret_key() -> str:
    """From SECRET_KEY or SECRET_KEY_FILE; else one made once and kept beside the data."""
    if key := os.environ.get("SECRET_KEY"):
        return key
    path = Path(os.environ.get("SECRET_KEY_FILE", DATA_DIR / "secret_key"))
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(secrets.token_urlsafe(50))
        path.chmod(0o600)
    return path.read_text().strip()


DEBUG = _flag("DEBUG", False)
SECRET_KEY = "only-for-tests" if TESTING else _secret_key()
ALLOWED_HOSTS = os.environ.get("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
CSRF_TRUSTED_ORIGINS = [o for o in os.environ.get("CSRF_TRUSTED_ORIGINS", "").split(",") if o]
BEHIND_TLS = _flag("BEHIND_TLS", False)
SITE_URL = os.environ.get("SITE_URL", "http://127.0.0.1:8000")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "csp",
    "axes",
    "farmops",
    "apps.audit",
    "apps.people",
    "apps.reminders",
    "apps.land",
    "apps.crops",
    "apps.products",
    "apps.inventory",
    "apps.equipment",
    "apps.training",
    "apps.weather",
    "apps.safety",
    "apps.work",
    "apps.spraying",
    "apps.dashboard",
    "apps.reports",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "apps.audit.whence.WhenceMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "farmops.language.PersonLanguageMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "farmops.urls"
WSGI_APPLICATION = "farmops.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "farmops.web.page_context",
            ],
            "builtins": ["farmops.templatetags.farm"],
        },
    }
]

# Embedded default. IMMEDIATE so that two writers queue instead of failing, FULL so that an
# acknowledged signature survives a power cut, recursive_triggers so that REPLACE cannot slip
# past the append-only triggers.
SQLITE = {
    "ENGINE": "django.db.backends.sqlite3",
    "NAME": DATA_DIR / "farm.sqlite3",
    "CONN_MAX_AGE": None,
    "OPTIONS": {
        "timeout": 20,
        "transaction_mode": "IMMEDIATE",
        "init_command": (
            "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA foreign_keys=ON;PRAGMA recursive_triggers=ON;"
        ),
    },
}
if url := os.environ.get("DATABASE_URL"):
    DATABASES = {"default": dj_database_url.parse(url, conn_max_age=600, conn_health_checks=True)}
elif host := os.environ.get("DATABASE_HOST"):  # with the password in a file, as containers hand it over
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.postgresql",
            "HOST": host,
            "NAME": os.environ.get("DATABASE_NAME", "farm"),
            "USER": os.environ.get("DATABASE_USER", "farm"),
            "PASSWORD": Path(os.environ["DATABASE_PASSWORD_FILE"]).read_text().strip(),
            "CONN_MAX_AGE": 600,
            "CONN_HEALTH_CHECKS": True,
        }
    }
else:
    DATA_DIR.mkdir(parents=True, exist_ok=True)
    DATABASES = {"default": SQLITE}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
if TESTING:
    PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "people:log_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "people:log_in"
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_ENABLED = not TESTING
SESSION_COOKIE_AGE = 60 * 60 * 24 * 14
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_TLS
SECURE_SSL_REDIRECT = BEHIND_TLS
SECURE_HSTS_SECONDS = 31536000 if BEHIND_TLS else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_TLS else None
X_FRAME_OPTIONS = "DENY"
# The hash is that of the empty string: the charting script adds one empty style element.
_EMPTY = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'", _EMPTY],
        "img-src": ["'self'", "data:", "blob:"],
        "connect-src": ["'self'"],
        "font-src": ["'self'"],
        "manifest-src": ["'self'"],
        "worker-src": ["'self'"],
        "base-uri": ["'none'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
    }
}

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español")]
LOCALE_PATHS = [BASE_DIR / "farmops" / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"
# Decimal point and no thousands mark in both languages: a typed 1,5 must never become 15.
USE_THOUSAND_SEPARATOR = False
FORMAT_MODULE_PATH = ["farmops.formats"]

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "farmops.packaged.PackagedScripts",
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if TESTING or DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = TESTING or DEBUG
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["farmops.tokens.TokenAuthentication", "farmops.tokens.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "farmops.pagination.NewestFirst",
    "DEFAULT_FILTER_BACKENDS": ["farmops.pagination.StrictFilters"],
    "DEFAULT_SCHEMA_CLASS": "farmops.schema.FarmSchema",
    "EXCEPTION_HANDLER": "farmops.problems.problem_response",
    "PAGE_SIZE": 50,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Farm operations",
    "DESCRIPTION": "One shared book for a crew-run farm: blocks, labels, spray jobs, entry and harvest.",
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": {
        "TaskStateEnum": "apps.work.rules.State",
        "CalibrationVerdictEnum": "apps.equipment.rules.Verdict",
        "TaskStepEnum": "apps.work.rules.Step",
        "JobStateEnum": "apps.spraying.rules.states.JobState",
        "JobStepEnum": "apps.spraying.rules.states.Step",
        "RateBasisEnum": "apps.products.rules.RateBasis",
        "ClosureKindEnum": "apps.safety.rules.Kind",
        "AnswerEnum": "apps.safety.rules.Word",
        "ActivityEnum": "apps.safety.rules.Activity",
        "ProductKindEnum": "apps.products.rules.Kind",
        "YearBasisEnum": "apps.products.rules.YearBasis",
        "MixingStageEnum": "apps.products.rules.MixingStage",
        "ProductUnitEnum": "farmops.units.PRODUCT_UNITS",
        "LedgerMoveEnum": "apps.inventory.rules.Move",
        "SensitiveKindEnum": "apps.land.rules.SensitiveKind",
        "PlantingEventEnum": "apps.crops.rules.EventKind",
        "SeenEnum": "apps.crops.rules.Seen",
        "PhonePurposeEnum": "apps.safety.phones.rules.Purpose",
        "PlantingPurposeEnum": "apps.crops.rules.Purpose",
        "ScoutUnitEnum": "apps.crops.rules.Unit",
        "ScoutVerdictEnum": "apps.crops.rules.Verdict",
        "RainGaugeEnum": "apps.weather.rules.rain.Gauge",
        "PassWindowStateEnum": "apps.spraying.programs.rules.State",
        "ProgramEndEnum": "apps.spraying.programs.rules.EndReason",
        "ProgramChoiceEnum": "apps.spraying.programs.rules.Choice",
        "SeverityEnum": "farmops.errors.Severity",
        "RecordElementEnum": "apps.spraying.records.rules.facts.Element",
    },
}

# Without a mail server, letters are files: on a terminal they would bury everything else.
EMAIL_BACKEND = os.environ.get("EMAIL_BACKEND", "django.core.mail.backends.filebased.EmailBackend")
EMAIL_HOST = os.environ.get("EMAIL_HOST", "localhost")
EMAIL_PORT = int(os.environ.get("EMAIL_PORT", "25"))
EMAIL_HOST_USER = os.environ.get("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("EMAIL_HOST_PASSWORD", "")
EMAIL_TIMEOUT = 10
EMAIL_FILE_PATH = os.environ.get("EMAIL_FILE_PATH") or str(DATA_DIR / "mail")
DEFAULT_FROM_EMAIL = os.environ.get("DEFAULT_FROM_EMAIL", "farm@localhost")

# What is coming due is computed by each app; the sweep asks them in this order.
REMINDER_SOURCES = [
    "apps.spraying.due.due",
    "apps.spraying.programs.due.due",
    "apps.spraying.records.due.due",
    "apps.spraying.heads.due",
    "apps.safety.queries.due",
    "apps.safety.posting.queries.due",
    "apps.spraying.display.queries.due",
    "apps.spraying.tonight.due",
    "apps.crops.due.due",
    "apps.work.queries.due",
    "apps.training.queries.due",
    "apps.equipment.queries.due",
    "apps.inventory.queries.due",
    "apps.reports.packet.queue.work_off",  # last: it may take its time
]
# Asked before a block is archived or its outline moves: guard(block, now) -> findings that stop it.
BLOCK_GUARDS = [
    "apps.safety.queries.block_guard",
    "apps.work.queries.block_guard",
    "apps.spraying.queries.block_guard",
]
# Asked before a block is split or merged: what cannot follow the ground.
RESHAPE_GUARDS = ["apps.work.queries.block_guard"]
# Told after it: follow(member=, farm=, pairs=[(old block, new block)], now=), in this order, in the same transaction.
GROUND_FOLLOWERS = ["apps.safety.following.follow_ground", "apps.spraying.following.follow_ground"]
# Told before a block's outline moves: follow(member=, block=, outline=the one it had, now=), in the same transaction.
OUTLINE_FOLLOWERS = ["apps.spraying.outlines.keep_outline"]
SWEEP_SECONDS = int(os.environ.get("SWEEP_SECONDS", "60"))
REDIS_URL = os.environ.get("REDIS_URL", "")
# Whether a farm's webhook may lead to this machine or its private network (and go without TLS).
WEBHOOKS_MAY_STAY_INSIDE = _flag("WEBHOOKS_MAY_STAY_INSIDE", False)
# Who may read /metrics: holders of this token; without one, only this machine itself.
METRICS_TOKEN = os.environ.get("METRICS_TOKEN", "")

# Tables that only grow -> columns that may still be set once. Kept by database triggers.
APPEND_ONLY: dict[str, tuple[str, ...]] = {
    "audit_auditevent": (),
    "inventory_ledgerline": (),
    "equipment_calibration": ("void_on", "void_because", "voided_by_id"),
    "safety_closure": ("lifted_at", "lifted_by_id", "lift_reason"),
    "land_lineage": (),
    "spraying_display": ("taken_down_at", "taken_down_by_id"),
    "safety_answergiven": (),
    "safety_possibleexposure": (),
    "safety_earlyentry": ("left_at", "minutes_used"),
    "safety_posting": ("up_at", "up_by_id", "down_at", "down_by_id", "told_at", "told_by_id", "dropped_at"),
    "work_taskstep": (),
    "spraying_jobstep": (),
    "spraying_mixtick": (),
    "spraying_sprayrecord": (),
    "spraying_recordnote": (),
    "spraying_broughtfile": (),
    "spraying_broughtspray": (),
    "spraying_programdecision": (),
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": os.environ.get("LOG_LEVEL", "INFO" if not TESTING else "ERROR")},
    "loggers": {"django.request": {"level": "ERROR"}, "axes": {"level": "WARNING"}},
}
