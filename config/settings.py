"""Every setting, read from the environment, with defaults that work on a laptop without any service."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import dj_database_url
from celery.schedules import crontab

from config.environment import env_bool, env_int, env_list, env_text, secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env_text("COILBOOK_VAR_DIR") or BASE_DIR / "var")
VERSION = "0.1.0"

SECRET_KEY = secret_key(VAR_DIR)
DEBUG = env_bool("COILBOOK_DEBUG")
ALLOWED_HOSTS = env_list("COILBOOK_ALLOWED_HOSTS", ("127.0.0.1", "localhost", "[::1]"))
CSRF_TRUSTED_ORIGINS = env_list("COILBOOK_CSRF_TRUSTED_ORIGINS")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_filters",
    "rest_framework",
    "knox",
    "axes",
    "django_otp",
    "django_otp.plugins.otp_totp",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "drf_standardized_errors",
    "accounts",
    "fleet",
    "schedules",
    "inspections",
    "api",
    "dashboard",
    "config",
]

MIDDLEWARE = [
    "config.requests.RequestIds",
    "config.requests.BodyLimit",
    "config.requests.BusyDatabase",
    "django.middleware.security.SecurityMiddleware",
    "api.transport.RefusePlainHttp",
    "api.compression.CompressedAnswers",
    "api.address_limit.AddressLimit",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "dashboard.middleware.SessionSeen",
    # Last, so that its answer to a locked sign-in goes out through all the others.
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
APPEND_SLASH = False

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]

SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
}


def database(url: str) -> dict[str, Any]:
    """Return one database entry."""
    entry: dict[str, Any] = dict(dj_database_url.parse(url, conn_max_age=60))
    if "sqlite3" in entry["ENGINE"]:
        entry["OPTIONS"] = {**entry.get("OPTIONS", {}), **SQLITE_OPTIONS}
    else:
        entry["CONN_HEALTH_CHECKS"] = True
    return entry


DATABASE_URL = env_text("DATABASE_URL") or f"sqlite:///{VAR_DIR / 'coilbook.sqlite3'}"
DATABASE_OWNER_URL = env_text("DATABASE_OWNER_URL") or DATABASE_URL
DATABASES = {"default": database(DATABASE_URL)}
# A request is one transaction, so that it can name its organisation; on SQLite it would lock out every other writer.
DATABASES["default"]["ATOMIC_REQUESTS"] = "postgresql" in DATABASES["default"]["ENGINE"]
if DATABASE_OWNER_URL != DATABASE_URL:
    DATABASES["owner"] = database(DATABASE_OWNER_URL)
# The role that may read the list of organisations; needed on PostgreSQL where the owner's role is another than ours.
NIGHTLY_ROLE = env_text("DATABASE_NIGHTLY_ROLE")
# What a web process lets one statement take, in ms; migrations and the night's work may take longer.
STATEMENT_TIMEOUT_MS = env_int("COILBOOK_STATEMENT_TIMEOUT_MS", 15_000)
# Off behind a pooler that keeps no prepared statement.
PLANNED_STATEMENTS = env_bool("COILBOOK_PLANNED_STATEMENTS", default=True)
DATABASE_ROUTERS = ["config.routers.OneDatabase"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

CACHE_URL = env_text("COILBOOK_CACHE_URL")
KEY_PREFIX = env_text("COILBOOK_KEY_PREFIX", "coilbook")
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": CACHE_URL,
        "KEY_PREFIX": KEY_PREFIX,
    }
    if CACHE_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "OPTIONS": {"MAX_ENTRIES": 100_000}}
}
# Of the interface; requests that are refused count too.
REQUESTS_PER_MINUTE_PER_ADDRESS = env_int("COILBOOK_REQUESTS_PER_MINUTE_PER_ADDRESS", 6000)
REQUESTS_PER_MINUTE_PER_TOKEN = env_int("COILBOOK_REQUESTS_PER_MINUTE_PER_TOKEN", 3000)

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
SESSION_ENGINE = "accounts.sessions"
SESSION_COOKIE_AGE = 24 * 3600 * env_int("COILBOOK_SESSION_DAYS", 14)
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True

# How many proxies stand before the service: so many addresses at the end of X-Forwarded-For are theirs to tell.
PROXIES = env_int("COILBOOK_PROXIES", 0)

# Wrong passwords lock one name at one address; nobody can lock a colleague out from elsewhere.  Behind a proxy that
# PROXIES does not count everybody has its address: there a name is locked for all, and no address as a whole.
AXES_FAILURE_LIMIT = env_int("COILBOOK_SIGN_IN_FAILURES", 5, least=1)
# From one address, whatever the names: a workshop behind one address has many people, a guesser many names.  A browser
# in which somebody signed in before is not held to it.
SIGN_IN_FAILURES_PER_ADDRESS = env_int("COILBOOK_SIGN_IN_FAILURES_PER_ADDRESS", 50, least=1)
AXES_COOLOFF_TIME = timedelta(minutes=env_int("COILBOOK_SIGN_IN_LOCK_MINUTES", 15, least=1))
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
# The time that the page told stays true, whatever is tried meanwhile.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_CLIENT_IP_CALLABLE = "accounts.addresses.counted_address"
AXES_LOCKOUT_CALLABLE = "dashboard.views.sign_in.locked_out"
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

OTP_TOTP_ISSUER = "Coilbook"

KNOX_TOKEN_MODEL = "accounts.ApiToken"  # noqa: S105
REST_KNOX = {"AUTH_HEADER_PREFIX": "Bearer", "TOKEN_TTL": timedelta(days=365), "TOKEN_PREFIX": "cbk_"}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["api.authentication.BearerAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["api.permissions.MemberPermission"],
    "DEFAULT_THROTTLE_CLASSES": ["api.throttling.TokenLimit"],
    "DEFAULT_PARSER_CLASSES": ["api.parsers.DecimalJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["api.renderers.DecimalJSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_PAGINATION_CLASS": "api.paging.KeysetPagination",
    "DEFAULT_CONTENT_NEGOTIATION_CLASS": "api.renderers.JSONOnlyNegotiation",
    "EXCEPTION_HANDLER": "drf_standardized_errors.handler.exception_handler",
    "COERCE_DECIMAL_TO_STRING": False,
    "UNAUTHENTICATED_USER": None,
}
DRF_STANDARDIZED_ERRORS = {
    "EXCEPTION_FORMATTER_CLASS": "api.problems.ProblemFormatter",
    "EXCEPTION_HANDLER_CLASS": "api.problems.ProblemHandler",
    "NESTED_FIELD_SEPARATOR": "/",
    "ENABLE_IN_DEBUG_FOR_UNHANDLED_EXCEPTIONS": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Coilbook",
    "VERSION": VERSION,
    "OAS_VERSION": "3.1.1",
    "DESCRIPTION": "The amperage record of every electromagnetic retarder in a fleet.",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_AUTHENTICATION": [],
    "SERVE_PERMISSIONS": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    # Without this the page sends the schema's address to a public validator.
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "validatorUrl": None},
    "COMPONENT_SPLIT_REQUEST": True,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "api.schema.document_problems",
    ],
    "ENUM_NAME_OVERRIDES": {
        "ExtraReadingKind": "api.serializers.readings.EXTRA_READING_CHOICES",
        "MeterKind": "inspections.models.Meter.KINDS",
        "DefectState": "inspections.models.Defect.STATES",
        "RejudgingState": "inspections.models.Rejudging.STATES",
    },
}

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English")]
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "/static/"
# Served straight from the packages: a first start needs no collecting step.
WHITENOISE_USE_FINDERS = True

CELERY_BROKER_URL = env_text("CELERY_BROKER_URL")
CELERY_TASK_DEFAULT_QUEUE = env_text("COILBOOK_QUEUE", "coilbook")
CELERY_BROKER_TRANSPORT_OPTIONS = {"global_keyprefix": f"{KEY_PREFIX}:", "visibility_timeout": 5 * 3600}
# A task killed half-way is delivered again: every task of ours may run twice.  The limit stays below the visibility
# timeout, or Redis would hand a running task to a second worker.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_TIME_LIMIT = 3600
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ALWAYS_EAGER = not CELERY_BROKER_URL
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# Hourly in UTC, because a local hour may come twice or never; each run does only what is not done yet.
CELERY_BEAT_SCHEDULE = {
    "night": {"task": "inspections.tasks.run_night", "schedule": crontab(minute=17)},
    "outbox": {"task": "schedules.tasks.send_reminders", "schedule": crontab(minute="*/5")},
    "rejudgings": {"task": "inspections.tasks.judge_anew", "schedule": crontab()},
    "record_checks": {"task": "accounts.tasks.check_asked_records", "schedule": crontab()},
}

EMAIL_HOST = env_text("COILBOOK_SMTP_HOST")
EMAIL_PORT = env_int("COILBOOK_SMTP_PORT", 25)
EMAIL_HOST_USER = env_text("COILBOOK_SMTP_USER")
EMAIL_HOST_PASSWORD = env_text("COILBOOK_SMTP_PASSWORD")
EMAIL_USE_TLS = env_bool("COILBOOK_SMTP_TLS")
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env_text("COILBOOK_MAIL_FROM", "coilbook@localhost")
# Without a mail server a message is printed where the service logs.
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if EMAIL_HOST else 'console'}.EmailBackend"

SECURE = env_bool("COILBOOK_SECURE")
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SECURE_SSL_REDIRECT = SECURE
# A health check asks from the next process, not from outside; the interface refuses plain HTTP instead.
SECURE_REDIRECT_EXEMPT = ["^healthz$", "^api/"]
SECURE_HSTS_SECONDS = env_int("COILBOOK_HSTS_SECONDS", 3600 if SECURE else 0)
SECURE_HSTS_INCLUDE_SUBDOMAINS = env_bool("COILBOOK_HSTS_SUBDOMAINS")
SECURE_HSTS_PRELOAD = env_bool("COILBOOK_HSTS_PRELOAD")
# Both bind hosts that are not ours to bind; who runs the service decides.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if PROXIES else None
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "worker-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}
LOGIN_URL = "dashboard:sign-in"
LOGIN_REDIRECT_URL = "dashboard:home"
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
# A photo and its form; files of any size would else be written to the disk for whoever sends them, signed in or not.
LARGEST_BODY_BYTES = 12 * 1024 * 1024 + 64 * 1024

LOG_LEVEL = env_text("COILBOOK_LOG_LEVEL", "WARNING")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request_id": {"()": "config.log_lines.RequestId"}},
    "formatters": {
        "line": {
            "()": "config.log_lines.OneLine",
            "format": "%(asctime)s %(levelname)s %(name)s %(request_id)s %(message)s",
        }
    },
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["request_id"]},
    },
    "root": {"handlers": ["console"], "level": LOG_LEVEL},
    # Their own handlers would write each record a second time, in another form.
    "loggers": {name: {"handlers": [], "propagate": True, "level": LOG_LEVEL} for name in ("django", "django.server")}
    # Who signed in and who was refused is always written; axes would say the latter a second time.
    | {"dashboard.signing_in": {"level": "INFO"}, "axes": {"level": "ERROR"}},
}
