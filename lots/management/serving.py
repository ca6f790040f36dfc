"""Serving the book: where it may listen, what is looked at first, and the server itself."""

import errno
import gc
import os
import socket
import ssl
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.urls import get_resolver
from gunicorn.app.base import BaseApplication

from lots.lan import SERVER, LanCert, Reached
from lots.management.postgres import own_place, where
from lots.models.triggers import missing_triggers

LOOPBACK: Final = ("127.0.0.1", "localhost", "::1", "[::1]")
WORKERS: Final = 2
THREADS: Final = 4
ANSWER_WITHIN_S: Final = 120  # a logger's file of 50 MB on a small machine
LAPSES_EVERY_S: Final = 60
# How long a thread that computes keeps the others of its worker waiting.  A reading asks the database some
# seventy times and waits for its turn after each: at Python's 5 ms a file being taken in made it some 150 ms
# slower on a busy machine (tests/bench/load.py).
GIVE_WAY_S: Final = 0.0005


def is_loopback(host: str) -> bool:
    """Whether only this machine itself reaches the host."""
    return host in LOOPBACK


def check_loopback(host: str) -> None:
    """Refuses every address but this machine's own."""
    if not is_loopback(host):
        raise CommandError(
            f"{host} is refused: this is served on this machine only (127.0.0.1). On other addresses "
            "manage.py serve speaks https."
        )


def speak_https(standing: LanCert) -> None:
    """What differs where the book is served over https: who may ask, and that no cookie goes another way.
    HSTS stays off: a tablet that loses the house's authority must still reach the page that helps."""
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, *_hosts(standing.reached)]
    settings.SESSION_COOKIE_SECURE = True
    settings.CSRF_COOKIE_SECURE = True


def speak_plainly() -> None:
    """On this machine alone no network is crossed, and a browser may keep its cookie without https."""
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = False


def _hosts(where: Reached) -> list[str]:
    six = [f"[{one}]" for one in where.addresses if one.version == 6]
    return [*where.names, *(str(one) for one in where.addresses if one.version == 4), *six]


def check_port(host: str, port: int) -> None:
    """Refuses a port that cannot be had."""
    if not 1 <= port <= 65535:
        raise CommandError(f"{port} is not a port: choose one from 1 to 65535.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host.strip("[]"), port))
        except socket.gaierror as error:
            raise CommandError(f"{host} is no name that this machine can find: {error}.") from error
        except OSError as error:
            if error.errno == errno.EADDRNOTAVAIL:
                raise CommandError(f"{host} is not an address of this machine.") from error
            raise CommandError(
                f"Port {port} cannot be used ({error.strerror}). Is the logbook running already? "
                f"Another port: --port {port + 1 if port < 65535 else 8000}"
            ) from error


def prepare_folder(folder: Path) -> None:
    """Makes the data folder, for its owner's eyes only."""
    os.umask(0o077)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.chmod(0o700)
    except OSError as error:
        raise CommandError(f"The data folder {folder} cannot be used: {error.strerror}.") from error


def check_not_demo() -> None:
    """Refuses a folder whose book is invented."""
    if "lots_establishment" not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:  # by hand: the tables may be older than the models
        cursor.execute("SELECT demo FROM lots_establishment ORDER BY id DESC LIMIT 1")
        row = cursor.fetchone()
    if row and row[0]:
        raise CommandError(
            f"{where()} holds invented demonstration data: it is served by manage.py demo. "
            f"Give the real logbook a {own_place()}"
        )


def check_not_newer() -> None:
    """Refuses a book that a newer version of this program has already migrated."""
    loader = MigrationLoader(connection)
    known = set(loader.disk_migrations)
    newer = sorted(
        f"{app}.{name}"
        for app, name in loader.applied_migrations
        if (app, name) not in known and app in loader.migrated_apps
    )
    if newer:
        raise CommandError(
            "A newer version of the logbook has used this book: it holds changes that this version "
            f"does not know ({', '.join(newer)}). Install that version. Nothing was changed."
        )


def migrations_wait() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def check_triggers_stand() -> None:
    """Refuses a book whose append-only triggers are gone, before migrating would lay them anew."""
    missing = missing_triggers()
    if missing and not migrations_wait():
        raise CommandError(
            f"The append-only trigger {missing[0]} is missing ({len(missing)} in all): a kept table "
            "was remade or tampered with. Find out why, check the book (manage.py check_book), then "
            "run manage.py migrate."
        )


class Logbook(BaseApplication):  # type: ignore[misc]
    """gunicorn with its settings given here; it reads no file and no argument of its own."""

    def __init__(self, host: str, port: int, certificates: Path | None = None) -> None:
        self.certificates = certificates
        bare = host.strip("[]")
        self.bind = f"[{bare}]:{port}" if ":" in bare else f"{bare}:{port}"
        super().__init__()

    def load_config(self) -> None:
        chosen = {
            "bind": self.bind,
            "workers": WORKERS,
            "threads": THREADS,
            "worker_class": "gthread",
            "timeout": ANSWER_WITHIN_S,
            "loglevel": "warning",
            "proc_name": "smokehouse-logbook",
            "control_socket_disable": True,
            "umask": 0o077,
        }
        if self.certificates is not None:
            chosen |= {
                "certfile": str(self.certificates / SERVER),
                "keyfile": str(self.certificates / SERVER),
                "ssl_context": _tls_1_2_at_least,
            }
        for name, value in chosen.items():
            if name in self.cfg.settings:
                self.cfg.set(name, value)

    def load(self) -> Any:
        from smokehouse.wsgi import application

        _settle()
        return application


def _settle() -> None:
    """Makes a worker answer evenly: the views are loaded now and not by the first who asks, and what is
    loaded is looked through no more for garbage, which held an answer up by 50 ms now and then."""
    _ = get_resolver().url_patterns
    sys.setswitchinterval(GIVE_WAY_S)
    gc.collect()
    gc.freeze()


def _tls_1_2_at_least(conf: Any, default: Callable[[], ssl.SSLContext]) -> ssl.SSLContext:
    context = default()
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context


def serve_forever(host: str, port: int, holding: int, certificates: Path | None = None) -> None:
    """Serves the book until it is told to end; beside it notices lapses each minute and walks the book each
    night.  `certificates` is the folder of the house's own: on any address but loopback there is no serving
    without.  `holding` is the open lock of the data folder: the workers inherit it, and the processes
    beside, so that the book counts as in use until the last of them has ended."""
    if certificates is None:
        check_loopback(host)
        speak_plainly()
    connections.close_all()  # no open file of the book may pass to the workers
    master = os.getpid()
    noticing = _start_beside(holding, "notice_lapses", "--every", str(LAPSES_EVERY_S))
    watching = _start_beside(holding, "watch_book")
    try:
        Logbook(host, port, certificates).run()
    finally:
        if os.getpid() == master:  # a worker comes by here too when it leaves
            _end(noticing)
            _end(watching)


def _start_beside(holding: int, *command: str) -> subprocess.Popen[bytes]:
    """A process of its own, so that it neither blocks a worker nor runs once in each."""
    words = ["-m", "django", *command, "--beside", str(os.getpid())]
    known = {
        "DJANGO_SETTINGS_MODULE": os.environ.get("DJANGO_SETTINGS_MODULE", "smokehouse.settings"),
        "SMOKEHOUSE_DATA": str(Path(settings.DATA_DIR).absolute()),
    }
    return subprocess.Popen(
        [sys.executable, *words], env=os.environ | known, cwd=settings.BASE_DIR, pass_fds=[holding]
    )


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(timeout=10)
    except subprocess.TimeoutExpired:
        process.kill()
