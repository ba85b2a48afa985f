"""Settings of a yard's own server. Everything it keeps lies under HULLBOOK_DATA."""

import os
import secrets
from pathlib import Path

from csp.constants import NONE, SELF

from hullbook.settings.database import database

ROOT = Path(__file__).resolve().parents[2]
DATA = Path(os.environ.get("HULLBOOK_DATA") or ROOT / "data").resolve()
HTTPS = os.environ.get("HULLBOOK_HTTPS") == "1"
SHARED = ROOT / "shared"

SECRET_KEY_FILE = DATA / "secret_key"
# Until `start` has written the yard's key, commands run on one that dies with them.
SECRET_KEY = SECRET_KEY_FILE.read_text().strip() if SECRET_KEY_FILE.exists() else secrets.token_urlsafe(64)

DEBUG = False
ALLOWED_HOSTS = [host for host in os.environ.get("HULLBOOK_HOSTS", "127.0.0.1,localhost").split(",") if host]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "csp",
    "axes",
    "hullbook.quantities",
    "hullbook.web",
    "hullbook.records",
    "hullbook.yard",
    "hullbook.materials",
    "hullbook.hulls",
    "hullbook.pours",
    "hullbook.cure",
    "hullbook.inspection",
    "hullbook.trace",
    "hullbook.dossier",
    "hullbook.operations",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "hullbook.yard.middleware.TabletMiddleware",
    "hullbook.yard.middleware.SignInEndsMiddleware",
    "hullbook.yard.middleware.SignInRequiredMiddleware",
    "hullbook.yard.middleware.DeviceMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "hullbook.web.middleware.NothingUnkeepable",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "hullbook.urls"
WSGI_APPLICATION = "hullbook.wsgi.application"
APPEND_SLASH = True

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "hullbook.yard.views.yard_name",
            ],
        },
    },
]

DATABASES = {"default": database(os.environ.get("DATABASE_URL", ""), DATA)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "yard.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "yard:sign-in"
LOGIN_REDIRECT_URL = "hulls:shed"
LOGOUT_REDIRECT_URL = "yard:sign-in"
# The field of the door's form; axes would look for the model's own name and count every miss as nobody's.
AXES_USERNAME_FORM_FIELD = "username"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
# A nested list: the pair of name and address is locked, so one person's slips never lock the whole shed.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "yard/locked_out.html"
AXES_VERBOSE = False

# At the most; a sign-in that stands idle ends before, see yard.services.sign_in_stands.
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_NAME = "__Host-hullbook" if HTTPS else "hullbook"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_NAME = "__Host-hullbook-csrf" if HTTPS else "hullbook-csrf"
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SAMESITE = "Lax"
# A tablet's outbox reads the token when it sends, and sends again with a fresh one.
CSRF_COOKIE_HTTPONLY = False
MESSAGES_COOKIE_NAME = "__Host-hullbook-messages" if HTTPS else "hullbook-messages"
MESSAGE_STORAGE = "hullbook.web.messages.MessagesInCookie"
CSRF_FAILURE_VIEW = "hullbook.web.views.token_refused"
SECURE_SSL_REDIRECT = HTTPS
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# A year of https-only on a private name would lock tablets out until the yard's root is on each of them.
SILENCED_SYSTEM_CHECKS = ["security.W004"]
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    },
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

STATIC_URL = "static/"
STATICFILES_DIRS = [ROOT / "static"]
STATIC_ROOT = DATA / "static"
MEDIA_ROOT = DATA / "files"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "hullbook.web.storage.PageFiles"},
}

LANGUAGE_CODE = "en-gb"
USE_I18N = False
TIME_ZONE = os.environ.get("HULLBOOK_TIME_ZONE", "UTC")
USE_TZ = True
DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j M Y H:i"
TIME_FORMAT = "H:i"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
