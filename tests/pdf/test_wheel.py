"""The package alone, built as a wheel and installed where nothing else of this project is, checks a
record and computes its verdicts again.  What it needs from elsewhere comes with it by its own list."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WARM = ROOT / "tests" / "books" / "6" / "warm.pdf"  # set by this layout
PINS = ROOT / ".ci" / "constraints.txt"


@pytest.fixture(scope="module")
def python(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the wheel and what it asks for."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    subprocess.run(
        [*pip, "wheel", "--no-deps", "-w", str(folder), str(ROOT)], check=True, capture_output=True
    )
    (wheel,) = folder.glob("*.whl")
    subprocess.run([sys.executable, "-m", "venv", str(folder / "env")], check=True)
    made = folder / "env" / "bin" / "python"
    subprocess.run(
        [str(made), *pip[1:], "install", "-c", str(PINS), str(wheel)],
        check=True,
        capture_output=True,
    )
    return made


def checked(python: Path, file: Path, folder: Path) -> subprocess.CompletedProcess[str]:
    words = [str(python), "-I", "-m", "lots.pdf.check", str(file), "--json"]
    env = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME")}
    return subprocess.run(words, cwd=folder, env=env, capture_output=True, text=True)


def test_it_checks_a_record_and_computes_its_verdicts_again(python: Path, tmp_path: Path) -> None:
    done = checked(python, WARM, tmp_path)
    found = json.loads(done.stdout)
    assert (done.returncode, found["outcome"]) == (3, "unknown"), done.stderr
    assert found["verdicts"] > 0
    assert "Its pages say, line by line, what is attached." in found["lines"]


def test_it_finds_an_altered_one(python: Path, tmp_path: Path) -> None:
    bent = tmp_path / "bent.pdf"
    bent.write_bytes(WARM.read_bytes().replace(b"/Title", b"/Titel", 1))
    assert checked(python, bent, tmp_path).returncode == 1


def test_it_needs_no_django(python: Path, tmp_path: Path) -> None:
    """The check is run with Django made impossible to import."""
    code = (
        "import sys; sys.modules['django'] = None; from lots.pdf.check import main; "
        f"sys.exit(main([{str(WARM)!r}]))"
    )
    done = subprocess.run([str(python), "-I", "-c", code], cwd=tmp_path, capture_output=True)
    assert done.returncode == 3, done.stderr
