"""Settings.  Everything that differs between two smokehouses lives in the data folder, not here; a
book in PostgreSQL is named by the environment (smokehouse/database.py)."""

import os
import secrets
from pathlib import Path

from csp.constants import NONE, SELF

from smokehouse.database import database

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(os.environ.get("SMOKEHOUSE_DATA", BASE_DIR / "data"))
FILES_DIR = DATA_DIR / "files"
KEYS_DIR = DATA_DIR / "keys"
STAGED_DIR = DATA_DIR / "staged"
# The passphrase of the key that seals: the passphrase itself, or a file outside the data folder.
SEAL_PASSPHRASE = os.environ.get("SEAL_PASSPHRASE", "")
SEAL_PASSPHRASE_FILE = os.environ.get("SEAL_PASSPHRASE_FILE", "")
# A time stamping authority (RFC 3161) asked at each issued record, and its certificate (PEM) if named.
SEAL_TIMESTAMP_URL = os.environ.get("SEAL_TIMESTAMP_URL", "")
SEAL_TIMESTAMP_CERT = os.environ.get("SEAL_TIMESTAMP_CERT", "")
PLANS_DIR = BASE_DIR / "fixtures" / "plans"
RULES_FILE = BASE_DIR / "fixtures" / "rules.toml"
SPECIES_FILE = BASE_DIR / "fixtures" / "species.toml"
CURE_FILE = BASE_DIR / "fixtures" / "cure.toml"
STATEMENTS_FILE = BASE_DIR / "fixtures" / "statements.toml"


def _secret_key(folder: Path) -> str:
    """The key of this data folder, made at first use and readable by its owner alone."""
    file = folder / "secret_key"
    if not file.exists():
        folder.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w") as new:
            new.write(secrets.token_urlsafe(50))
    return file.read_text().strip()


SECRET_KEY = _secret_key(DATA_DIR)
DEBUG = False
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
ROOT_URLCONF = "smokehouse.urls"
WSGI_APPLICATION = "smokehouse.wsgi.application"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "crispy_forms",
    "axes",
    "csp",
    "lots.apps.LotsConfig",
]

MIDDLEWARE = [
    "django.middleware.gzip.GZipMiddleware",  # for the first visit of a tablet far from the router
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "lots.views.middleware.HouseMiddleware",
    "axes.middleware.AxesMiddleware",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "lots.views.context.house",
            ],
        },
    },
]

DATABASES = {"default": database(os.environ, DATA_DIR)}

AUTH_USER_MODEL = "lots.Login"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "lots.views.backend.PersonBackend",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "log_in"
LOGIN_REDIRECT_URL = "shift"
LOGOUT_REDIRECT_URL = "log_in"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_CALLABLE = "lots.views.log_in.locked_out"
AXES_VERBOSE = False
# beside "password": what the throttle must not keep of a page posted with a wrong one
AXES_SENSITIVE_PARAMETERS = [
    "secret",
    "pen-secret",
    "pin",
    "pin_again",
    "sign-password",
    "visit_code",
]

SESSION_COOKIE_AGE = 14 * 24 * 3600  # the pen closes long before (lots/views/pen.py)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True  # serving.py lets go of it on this machine alone
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "lots.views.errors.csrf_failure"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SILENCED_SYSTEM_CHECKS = [
    "security.W004",  # HSTS: a tablet that lost the house's authority must reach the page that helps
    "security.W008",  # there is no plain address that could be redirected: the port speaks https or nothing
]
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}

LANGUAGE_CODE = "en-us"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True

CRISPY_ALLOWED_TEMPLATE_PACKS = ("smoke",)
CRISPY_TEMPLATE_PACK = "smoke"
DEFAULT_AUTO_FIELD = "django.db.models.AutoField"
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_PERMISSIONS = 0o600
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s: %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"axes": {"level": "ERROR"}},
}
