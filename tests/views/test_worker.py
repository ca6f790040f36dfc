"""What a browser asks for before anybody has logged in: the worker, the manifest, its icons."""

import json
import re
import struct
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from lots.views import worker
from tests.make import Book


@pytest.fixture
def source(book: Book) -> str:
    worker._worker.cache_clear()
    worker.kept_files.cache_clear()
    answer = Client().get("/sw.js")
    assert answer["Content-Type"].startswith("text/javascript")
    assert "no-cache" in answer["Cache-Control"]
    return answer.content.decode()


def _files(source: str) -> list[str]:
    found = re.search(r"FILES = (\[.*?\])", source)
    assert found
    return list(json.loads(found[1]))


def test_the_worker_keeps_every_module_that_the_opening_page_loads(source: str) -> None:
    files = _files(source)
    # waiting.js is of the other pages, which need the server
    own = (file.name for file in Path("static/js/beside").glob("*.js") if file.name != "waiting.js")
    modules = {f"/static/js/beside/{name}" for name in own}
    assert modules <= set(files)
    assert "/static/css/smokehouse.css" in files
    assert "/*" not in source.split("addEventListener", 1)[0]


def test_the_worker_has_another_name_as_soon_as_a_file_it_keeps_has_changed(
    source: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def name(text: str) -> Any:
        found = re.search(r"NAME = '(smokehouse-[0-9a-f]{12})'", text)
        assert found
        return found[1]

    changed = tmp_path / "static"
    for path in ("js/sw.js", *worker.kept_files()):
        copy = changed / path
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes((worker.STATIC / path).read_bytes())
    monkeypatch.setattr(worker, "STATIC", changed)
    worker._worker.cache_clear()
    assert name(worker._worker()) == name(source)
    with (changed / "css" / "smokehouse.css").open("a") as css:
        css.write("\n")
    worker._worker.cache_clear()
    assert name(worker._worker()) != name(source)
    worker._worker.cache_clear()


def test_the_page_without_network_is_carried_inside_the_worker_and_names_nobody(
    source: str,
) -> None:
    assert "No network" in source
    assert "csrfmiddlewaretoken" not in source


def test_the_manifest_names_the_house_and_icons_of_the_sizes_that_they_have(book: Book) -> None:
    said = json.loads(Client().get("/manifest.webmanifest").content)
    assert said["start_url"] == "/"
    assert said["display"] == "standalone"
    assert said["name"].endswith("logbook")
    assert {icon["purpose"] for icon in said["icons"]} == {"any", "maskable"}
    for icon in said["icons"]:
        image = Path(settings.BASE_DIR) / icon["src"].lstrip("/")
        width, height = struct.unpack(">II", image.read_bytes()[16:24])
        assert icon["sizes"] == f"{width}x{height}"
