"""The same settings over a data folder of their own that goes away with the tests."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_folder = Path(tempfile.mkdtemp(prefix="smokehouse-test-"))
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ["SMOKEHOUSE_DATA"] = str(_folder)

from smokehouse.settings import *  # noqa: E402, F403
from smokehouse.settings import DATABASES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # fast; only for tests
if "sqlite" in DATABASES["default"]["ENGINE"]:  # PostgreSQL makes one beside the one named
    if os.environ.get("BACKWARDS"):  # shows what rests on an order that no query asked for
        DATABASES["default"]["OPTIONS"]["init_command"] += "PRAGMA reverse_unordered_selects=ON;"
    DATABASES["default"]["TEST"] = {"NAME": _folder / "test.sqlite3"}
SEAL_PASSPHRASE = "invented, of the tests"  # never what lies on the machine that runs them
SEAL_PASSPHRASE_FILE = SEAL_TIMESTAMP_URL = SEAL_TIMESTAMP_CERT = ""
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = False  # the tests' own server speaks no https
