"""The built documentation needs no network."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
#: What a browser would fetch by itself when it opens a page.
FETCHED = re.compile(r"<(?:script|link|img|iframe|source)\b[^>]*?\b(?:src|href)=[\"']?(?P<address>[^\"'\s>]+)")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the built documentation; a warning while building is an error."""
    folder = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", str(folder)],
        cwd=ROOT,
        env={**os.environ, "NO_MKDOCS_2_WARNING": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return folder


def test_a_built_page_fetches_nothing_from_outside(site: Path) -> None:
    """Fonts, scripts, styles and pictures all lie beside the pages."""
    outside = {
        address
        for page in site.rglob("*.html")
        for address in FETCHED.findall(page.read_text(encoding="utf-8"))
        if address.startswith(("http:", "https:", "//"))
    }
    assert outside == set()


def test_styles_fetch_nothing_from_outside(site: Path) -> None:
    """No style names a font or picture of another host."""
    outside = [
        sheet.name
        for sheet in site.rglob("*.css")
        if re.search(r"(?:url\(|@import)\s*[\"']?(?:https?:)?//", sheet.read_text(encoding="utf-8"))
    ]
    assert outside == []


def test_every_page_is_found_from_the_first_one(site: Path) -> None:
    """Following links from the first page reaches every page but the one for wrong addresses."""
    left, seen = [site / "index.html"], {site / "index.html"}
    while left:
        page = left.pop()
        for target in re.findall(r"href=\"([^\"#?]+\.html)", page.read_text(encoding="utf-8")):
            goal = (page.parent / target).resolve()
            if goal not in seen and goal.exists():
                seen.add(goal)
                left.append(goal)
    assert {page for page in site.rglob("*.html") if page.name != "404.html"} - seen == set()
