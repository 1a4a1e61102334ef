"""Settings, from the environment. With nothing named: one machine, its database under ``var/``.

Names a server may set: ``DATABASE_URL``, ``REDIS_URL``, and with the prefix ``SHOPCAL_``:
``DATA``, ``DEBUG``, ``SECRET_KEY``, ``PUBLIC_URL``, ``ALLOWED_HOSTS``, ``BEHIND_PROXY``,
``DATABASE_POOL``, ``LIVE_URL``, ``LIVE_PORT``, ``METRICS_TOKEN``, ``LOG_LEVEL``, ``LOG_FORMAT``,
``EMAIL_HOST``, ``EMAIL_PORT``, ``EMAIL_USER``, ``EMAIL_PASSWORD``, ``EMAIL_TLS``, ``EMAIL_FROM``.
"""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from csp.constants import NONE, SELF

from shopcal import logs
from shopcal.api.conf import REST_FRAMEWORK, SPECTACULAR_SETTINGS
from shopcal.environment import Environment, SettingWrong, kept_secret, postgresql, sqlite

__all__ = ["REST_FRAMEWORK", "SPECTACULAR_SETTINGS"]

env = Environment(os.environ)

BASE_DIR = Path(__file__).resolve().parent.parent
DATABASE_URL = env.text("DATABASE_URL")
REDIS_URL = env.text("REDIS_URL")
EMBEDDED = not DATABASE_URL
DATA_DIR = Path(env.text("SHOPCAL_DATA", str(BASE_DIR / "var")))
DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)  # what is in it concerns nobody else

DEBUG = env.flag("SHOPCAL_DEBUG")

# ---- where people reach the service --------------------------------------------------------------
PUBLIC_URL = env.text("SHOPCAL_PUBLIC_URL", "http://localhost:8000").rstrip("/")
_public = urlsplit(PUBLIC_URL)
if _public.scheme not in ("http", "https") or not _public.hostname:
    raise SettingWrong(
        "SHOPCAL_PUBLIC_URL must look like https://shop.example, with http or https."
    )
HTTPS = _public.scheme == "https"
ALLOWED_HOSTS = sorted(
    {*env.listed("SHOPCAL_ALLOWED_HOSTS"), _public.hostname, "localhost", "127.0.0.1", "[::1]"}
)
CSRF_TRUSTED_ORIGINS = [f"{_public.scheme}://{_public.netloc}"]

# The process that sends live events: at LIVE_URL, or on LIVE_PORT of the host the page came from.
LIVE_PORT = env.whole("SHOPCAL_LIVE_PORT", 8001, at_least=1)
LIVE_URL = env.text("SHOPCAL_LIVE_URL").rstrip("/")
_LIVE_ORIGINS = (
    ["{0.scheme}://{0.netloc}".format(urlsplit(LIVE_URL))]
    if LIVE_URL
    # A policy cannot name an IPv6 address; pages opened by one fall back to asking now and then.
    else [f"{_public.scheme}://{h}:{LIVE_PORT}" for h in ALLOWED_HOSTS if h[0] not in "[*."]
)

# ---- secrets -------------------------------------------------------------------------------------
SECRET_KEY = env.text("SHOPCAL_SECRET_KEY")
if not SECRET_KEY:
    if not EMBEDDED and not env.text("SHOPCAL_DATA"):
        # Several processes must share it: by name, or through a data folder they all see.
        raise SettingWrong(
            "SHOPCAL_SECRET_KEY must be named when DATABASE_URL is, or SHOPCAL_DATA, a folder"
            " shared by all processes in which it is kept."
        )
    SECRET_KEY = kept_secret(DATA_DIR / "secret_key")
METRICS_TOKEN = env.text("SHOPCAL_METRICS_TOKEN")

# ---- parts ---------------------------------------------------------------------------------------
INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "django_filters",
    "django_htmx",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "shopcal.accounts",
    "shopcal.history",
    "shopcal.api",
    "shopcal.outbox",
    "shopcal.live",
    "bays",
    "jobs",
    "reports",
]
MIDDLEWARE = [
    "shopcal.logs.RequestId",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shopcal.accounts.middleware.ActorMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shopcal.accounts.middleware.RefusalMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "shopcal.urls"
WSGI_APPLICATION = "shopcal.wsgi.application"
ASGI_APPLICATION = "shopcal.asgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "shopcal" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "shopcal.accounts.pages.context.actor",
            ],
        },
    }
]

# ---- storage -------------------------------------------------------------------------------------
DATABASES = {
    "default": (
        postgresql(DATABASE_URL, pool_size=env.whole("SHOPCAL_DATABASE_POOL", 10))
        if DATABASE_URL
        else sqlite(DATA_DIR / "shopcal.sqlite3")
    )
}
# In memory of each process on purpose: a cache server that is down must not stop a booking.
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
MEDIA_ROOT = DATA_DIR / "media"
STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)  # may stay empty: files are served from where they are
STATICFILES_DIRS = [BASE_DIR / "shopcal" / "static"]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG

# ---- work for later ------------------------------------------------------------------------------
if REDIS_URL:
    CELERY_BROKER_URL = REDIS_URL
    CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
    CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 600, "socket_connect_timeout": 2}
    CELERY_TASK_IGNORE_RESULT = True
    CELERY_TASK_ACKS_LATE = True
    CELERY_TASK_REJECT_ON_WORKER_LOST = True
    CELERY_WORKER_PREFETCH_MULTIPLIER = 1
    CELERY_TASK_DEFAULT_QUEUE = "default"
    CELERY_TIMEZONE = "UTC"

# ---- signing in ----------------------------------------------------------------------------------
# Called once in each process that serves pages; named as text, so that nothing here imports an app.
WARM_ON_START = ["bays.planner.engine.warm.warm_while_serving", "jobs.warming.warm_floors"]
AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
    "django.contrib.auth.hashers.ScryptPasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}", "OPTIONS": options}
    for name, options in (
        ("UserAttributeSimilarityValidator", {"user_attributes": ("email", "name")}),
        ("MinimumLengthValidator", {"min_length": 10}),
        ("CommonPasswordValidator", {}),
        ("NumericPasswordValidator", {}),
    )
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
# Counted per address and person: a whole shop shares one address and must not lock itself out.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=10)
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_CALLABLE = "shopcal.accounts.throttle.locked_out"
AXES_USERNAME_CALLABLE = "shopcal.accounts.throttle.given_name"
AXES_USERNAME_FORM_FIELD = "username"
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# ---- what browsers may do ------------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF, *_LIVE_ORIGINS],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_NAME = "shopcal_session"
CSRF_COOKIE_NAME = "shopcal_csrf"
CSRF_COOKIE_HTTPONLY = True
if HTTPS:
    SECURE_HSTS_SECONDS = 30 * 24 * 3600
if env.flag("SHOPCAL_BEHIND_PROXY"):
    # Only where a proxy sets these itself; otherwise anyone could claim them.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    AXES_CLIENT_IP_CALLABLE = "shopcal.accounts.throttle.address_behind_proxy"
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

# ---- mail ----------------------------------------------------------------------------------------
EMAIL_HOST = env.text("SHOPCAL_EMAIL_HOST")
if EMAIL_HOST:
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_PORT = env.whole("SHOPCAL_EMAIL_PORT", 587, at_least=1)
    EMAIL_HOST_USER = env.text("SHOPCAL_EMAIL_USER")
    EMAIL_HOST_PASSWORD = env.text("SHOPCAL_EMAIL_PASSWORD")
    EMAIL_USE_TLS = env.flag("SHOPCAL_EMAIL_TLS", default=True)
    EMAIL_TIMEOUT = 20
else:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = DATA_DIR / "mail"
DEFAULT_FROM_EMAIL = SERVER_EMAIL = env.text("SHOPCAL_EMAIL_FROM", "shopcal@localhost")

# ---- clock, language, logs -----------------------------------------------------------------------
TIME_ZONE = "UTC"
USE_TZ = True
LANGUAGE_CODE = "en"
USE_I18N = False
LOGGING = logs.configured(
    level=env.text("SHOPCAL_LOG_LEVEL", "INFO").upper(),
    as_json=env.text("SHOPCAL_LOG_FORMAT", "text" if EMBEDDED else "json") == "json",
)
