"""Django settings. The addresses of the servers come from the environment or from `site.json` in the data folder."""

import importlib.util
import json
import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import dj_database_url

from fleet.deployment import UnfitDeployment, read_deployment
from fleet.notices.channels.settings import read_channel_settings

ROOT = Path(__file__).resolve().parent.parent


def _read_site_file() -> dict[str, Any]:
    """Return what a running `manage.py up` or `demo` wrote about its servers, for other commands; {} without it."""
    folder = os.environ.get("GAUGEGLASS_DATA")
    path = Path(folder) / "site.json" if folder else None
    return json.loads(path.read_text()) if path and os.access(path, os.R_OK) else {}


_SITE_SETTINGS = _read_site_file()

DATABASE_URL: str = os.environ.get("DATABASE_URL") or _SITE_SETTINGS.get("database_url", "")
REDIS_URL: str = os.environ.get("REDIS_URL") or _SITE_SETTINGS.get("redis_url", "")
DISK_FOLDER: str = os.environ.get("GAUGEGLASS_DISK", "")  # on the disk of the database, if that is this machine's
DEBUG = False
try:
    _DEPLOYMENT = read_deployment(os.environ, _SITE_SETTINGS.get("secret_key", ""))
    CHANNEL_SETTINGS = read_channel_settings(os.environ)
except UnfitDeployment as unfit:
    sys.exit(str(unfit))
SECRET_KEY = _DEPLOYMENT.secret_key
IS_SECRET_KEY_GIVEN = bool(os.environ.get("GAUGEGLASS_SECRET_KEY") or _SITE_SETTINGS.get("secret_key"))
# Where the site is reached, for the links in messages and those that commands print; pages build theirs themselves.
SITE_ADDRESS: str = os.environ.get("GAUGEGLASS_ADDRESS") or _SITE_SETTINGS.get("web", "")
ALLOWED_HOSTS = _DEPLOYMENT.hosts
CSRF_TRUSTED_ORIGINS = _DEPLOYMENT.origins
# Proxies in front of the site: how many entries of X-Forwarded-For are believed, or whose.
PROXIES, PROXY_NETWORKS = _DEPLOYMENT.proxy_count, _DEPLOYMENT.proxy_networks
METRICS_KEY = _DEPLOYMENT.metrics_key  # opens the metrics to other machines; "": to nobody but this machine
WATCHER_URL = _DEPLOYMENT.watcher_url  # called every minute while all is well; "": nobody outside hears of silence

INSTALLED_APPS = [
    "fleet",
    "fleet.heartbeats",
    "fleet.catalog",
    "fleet.portfolio",
    "fleet.accounts",
    "fleet.terms",
    "fleet.visits",
    "fleet.cards",
    "fleet.files",
    "fleet.assessments",
    "fleet.deficiencies",
    "fleet.board",
    "fleet.jobs",
    "fleet.alerts",
    "fleet.notices",
    "fleet.reports",
    "fleet.web",
    "api",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_htmx",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    "fleet.web.shared.middleware.ForwardedSchemeMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "fleet.web.shared.middleware.RequestIdMiddleware",
    "fleet.web.shared.request_bounds.RequestBoundsMiddleware",
    "fleet.web.shared.disk_notice.PageRoomMiddleware",
    "api.http.disk_room.ApiRoomMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "fleet.web.shared.session_use.SessionUseMiddleware",
    "fleet.web.shared.request_bounds.FormTextMiddleware",
    "fleet.web.shared.middleware.UnitsMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

ROOT_URLCONF = "fleet.urls"
APPEND_SLASH = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "accounts.User"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "templates"],
        "APP_DIRS": True,  # the page of the API description is a template of an installed app
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

# A placeholder that cannot connect, for when no server is named; `fit`, `demo` and `up` then explain what is missing.
NO_DATABASE = "postgresql:///no_database_url_given"


def _database_settings(url: str) -> dict[str, Any]:
    """Return the database settings for `url`; an unreadable URL counts as no database.

    Connections are checked before use, so a restarted server costs no request.
    """
    try:
        connection = dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True)
    except ValueError:
        return {**dj_database_url.parse(NO_DATABASE)}
    # A write that waits longer for a lock is cancelled; its door tries again and then answers 503.
    options = connection.get("OPTIONS", {})
    session = f"{options.get('options', '')} -c lock_timeout=5s".strip()
    return {**connection, "OPTIONS": {**options, "options": session}}


DATABASES = {"default": _database_settings(DATABASE_URL or NO_DATABASE)}


def _cache_settings(url: str) -> dict[str, Any]:
    """Return the cache settings for the Redis `url`; without one, an in-memory cache for each process.

    The shared cache keeps the counters of the rate limits. Without it each process counts for itself.
    """
    if not url:
        return {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
    # Celery and Django write the address of a Unix socket differently. A cache that hangs must not delay requests.
    location = url.replace("redis+socket://", "unix://", 1)
    options: dict[str, object] = {"socket_connect_timeout": 0.5, "socket_timeout": 0.5}
    options["serializer"] = "fleet.records.cache_values.JsonCacheSerializer"  # Django's own unpickles
    backend = "django.core.cache.backends.redis.RedisCache"
    return {"BACKEND": backend, "LOCATION": location, "KEY_PREFIX": "gaugeglass", "OPTIONS": options}


CACHES = {"default": _cache_settings(REDIS_URL)}

# How many API requests one key, or one signed-in user, may make per minute.
READS_A_MINUTE = int(os.environ.get("GAUGEGLASS_READS_A_MINUTE", "600"))
WRITES_A_MINUTE = int(os.environ.get("GAUGEGLASS_WRITES_A_MINUTE", "120"))
BAD_KEYS_A_MINUTE = int(os.environ.get("GAUGEGLASS_BAD_KEYS_A_MINUTE", "30"))  # attempts from one address

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "fleet.accounts.passwords.OwnNameValidator"},
    {"NAME": "fleet.accounts.passwords.KnownPasswordValidator"},
]
AUTHENTICATION_BACKENDS = ["fleet.accounts.passwords.SiteBackend"]
LOGIN_URL = "/sign-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/sign-in/"
SESSION_SERIALIZER = "django.contrib.sessions.serializers.JSONSerializer"
SESSION_COOKIE_AGE = 14 * 24 * 3600  # seconds; a session ends then, however much it is used
SESSION_IDLE = timedelta(hours=float(os.environ.get("GAUGEGLASS_IDLE_HOURS", "12")))  # without any use
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
globals().update(_DEPLOYMENT.https_settings)

LANGUAGE_CODE = "en-us"
# Only the boiler-room card is in two languages: it chooses one for each request, and everything else stays in English.
USE_I18N = True
LANGUAGES = [("en", "English"), ("es", "Español")]
USE_TZ = True
TIME_ZONE = "UTC"  # people see the building's zone; everything stored and compared is UTC

STATIC_URL = "/static/"
# Chart.js comes with another package; only its chart folder is served, and nothing of the package is imported.
_CHART_PACKAGE = importlib.util.find_spec("unfold")
_CHART_FOLDERS = list(_CHART_PACKAGE.submodule_search_locations or ()) if _CHART_PACKAGE else []
STATICFILES_DIRS = [("chart", Path(place, "static", "unfold", "js", "chart")) for place in _CHART_FOLDERS]
WHITENOISE_USE_FINDERS = True  # files are served from where packages keep them, so there is no collected copy to forget

# Where photographs are kept: a folder of the site's account, or any storage of Django's by its name and options.
FILES_FOLDER = os.environ.get("GAUGEGLASS_FILES") or _SITE_SETTINGS.get("files_folder", "")
FILES_BACKEND = os.environ.get("GAUGEGLASS_FILES_BACKEND", "django.core.files.storage.FileSystemStorage")
_FILES_OPTIONS = json.loads(os.environ.get("GAUGEGLASS_FILES_OPTIONS", "{}")) or (
    {"location": FILES_FOLDER or str(Path.home() / ".local/share/gaugeglass/files"), "file_permissions_mode": 0o600}
)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    "photographs": {"BACKEND": FILES_BACKEND, "OPTIONS": _FILES_OPTIONS},
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_HANDLERS = ["fleet.web.shared.form_reader.StorableFormHandler"]

# Late acknowledgement (tested with celery 5.6.3 and redis-py 8.1): a killed worker's task returns within seconds.
CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {"unacked_restore_interval": 2, "unacked_restore_throttle": 1}
CELERY_TIMEZONE = "UTC"
# Written out, although they are the defaults: whoever can write into the broker must not be able to run anything here.
CELERY_TASK_SERIALIZER = CELERY_RESULT_SERIALIZER = CELERY_EVENT_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = CELERY_RESULT_ACCEPT_CONTENT = ["json"]
# In memory: the other scheduler keeps its state in a file that it unpickles.
CELERY_BEAT_SCHEDULER = "celery.beat:Scheduler"
# Who waits for others waits in queues of their own, which another worker serves: a slow receiver delays no sweep.
CELERY_TASK_ROUTES = {
    "fleet.tasks.deliver": {"queue": "notices"},
    "fleet.tasks.note_delivery": {"queue": "notices"},
    "fleet.tasks.call_watcher": {"queue": "watcher"},
}
SWEEP_SECONDS = float(os.environ.get("GAUGEGLASS_SWEEP_SECONDS", "30"))
_HEARTBEAT: dict[str, Any] = {"schedule": 30, "options": {"expires": 27}}
CELERY_BEAT_SCHEDULE: dict[str, dict[str, Any]] = {
    # Each task expires within its period, so a broker that was away never delivers a backlog of wake-ups.
    "sweep": {"task": "fleet.tasks.sweep", "schedule": SWEEP_SECONDS, "options": {"expires": SWEEP_SECONDS * 0.9}},
    "purge": {
        "task": "fleet.tasks.purge",
        "schedule": 3600,
        "options": {"expires": 3000},
    },
    "deliver": {"task": "fleet.tasks.deliver", "schedule": SWEEP_SECONDS, "options": {"expires": SWEEP_SECONDS * 0.9}},
    "imports": {"task": "fleet.tasks.imports", "schedule": SWEEP_SECONDS, "options": {"expires": SWEEP_SECONDS * 0.9}},
    # Each of the two workers leaves its mark, which says when beat sent for it as well.
    "worker": {**_HEARTBEAT, "task": "fleet.tasks.note_worker"},
    "delivery": {**_HEARTBEAT, "task": "fleet.tasks.note_delivery"},
    "watcher": {"task": "fleet.tasks.call_watcher", "schedule": 60, "options": {"expires": 50}},
}
for _entry in CELERY_BEAT_SCHEDULE.values():
    # Beat keeps no state: all is sent once when it starts. Else what a beat that dies every minute sends each minute
    # would never be sent, and a site restarted every half hour would never purge.
    _entry["last_run_at"] = datetime(2000, 1, 1, tzinfo=UTC)

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"lines": {"()": "fleet.logs.JsonLines"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "lines"}},  # stderr
    "root": {"handlers": ["console"], "level": "INFO"},
    "loggers": {
        # Django's own handlers write or mail whole requests, so they are removed; records go to the root handler only.
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "django.server": {"handlers": [], "level": "WARNING", "propagate": True},
        "django.request": {"level": "ERROR"},  # refused requests are in the line of their request already
    },
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.http.authentication.KeyAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],  # closed by default
    "DEFAULT_THROTTLE_CLASSES": ["api.http.limits.Limit"],
    "DEFAULT_PARSER_CLASSES": ["api.http.parsing.BoundedJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "api.http.problems.handler",
    "URL_FORMAT_OVERRIDE": None,  # no "format" query parameter: other forms of a list are requested with `as`
    "STRICT_JSON": True,  # NaN and Infinity are not JSON
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Gaugeglass",
    "DESCRIPTION": "Results from the boiler room in, standings and alerts out.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_INCLUDE_SCHEMA": False,
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "api.http.idempotency.describe_idempotency_key",
        "api.http.limits.describe_limits",
        "api.http.openapi_extensions.describe_request_bounds",
        "api.http.openapi_extensions.drop_needless_choices",
        "api.http.disk_room.describe_room",
    ],
    "ENUM_NAME_OVERRIDES": {
        "StandingEnum": "fleet.rules.values.STANDINGS",
        "VisitKindEnum": "api.visit_serializers.KINDS",
        "PositionStateEnum": "api.positions.STATES",
        "CallKindEnum": "api.calls.CALL_KIND_CODES",
        "DayCellStateEnum": "api.day_book.CELL_STATES",
        "FiringAnswerEnum": "fleet.rules.values.FIRING_ANSWERS",
        "ReportKindEnum": "fleet.reports.models.REPORT_KINDS",
        "RegisterAnswerEnum": "fleet.visits.register_gaps.ANSWERS",
        "PaperBodyEnum": "fleet.rules.vocabulary.PAPER_BODIES",
        "LevelEnum": "fleet.rules.values.LEVELS",
        "OutcomeEnum": "api.visit_serializers.OUTCOMES",
        "NoticeStatusEnum": "fleet.notices.models.NOTICE_STATUSES",
        "NoticeKindEnum": "fleet.notices.queries.NOTICE_KINDS",
        "DeliveryOutcomeEnum": "api.notices.OUTCOMES",
        "CallLineLevelEnum": "api.call_lists.LINE_LEVELS",
        "PaperFileTypeEnum": "fleet.visits.paper_check.FILE_TYPES",
    },
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
}
