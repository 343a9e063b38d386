"""Every link within the documentation leads somewhere, and nothing in it asks for the network."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", *sorted(DOCS.rglob("*.md"))]
LINK = re.compile(r"\]\((?P<target>[^)\s]+)(?:\s+\"[^\"]*\")?\)")


def without_code(text: str) -> str:
    """Return a page without its code, where brackets are no links."""
    return re.sub(r"`[^`\n]*`", "", re.sub(r"^ *```.*?^ *```", "", text, flags=re.MULTILINE | re.DOTALL))


def anchors_of(page: Path) -> set[str]:
    """Return the anchors that the headings of a page make."""
    text = re.sub(r"^ *```.*?^ *```", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    found = set()
    for heading in re.findall(r"^#+ (.+)$", text, re.MULTILINE):
        plain = re.sub(r"[`*]", "", heading).strip().lower()
        found.add(re.sub(r"[\s]+", "-", re.sub(r"[^\w\s-]", "", plain)).strip("-"))
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_leads_somewhere(page: Path) -> None:
    """Files exist and anchors are headings."""
    broken = []
    for target in LINK.findall(without_code(page.read_text(encoding="utf-8"))):
        name, _, anchor = target.partition("#")
        goal = (page.parent / name).resolve() if name else page
        if not goal.exists() or (anchor and goal.suffix == ".md" and anchor not in anchors_of(goal)):
            broken.append(target)
    assert broken == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_no_page_names_an_address_outside(page: Path) -> None:
    """Links stay within the documentation; an address that is served on this computer may be named."""
    outside = re.findall(r"https?://(?!127\.0\.0\.1|localhost)[^\s)>\"`]+", page.read_text(encoding="utf-8"))
    assert outside == []


def test_every_picture_is_used_and_small() -> None:
    """A picture that no page shows is left over, and a page is soon loaded."""
    shown = {Path(target).name for page in PAGES for target in LINK.findall(page.read_text(encoding="utf-8"))}
    pictures = sorted((DOCS / "img").glob("*.png"))
    assert [picture.name for picture in pictures if picture.name not in shown] == []
    assert [picture.name for picture in pictures if picture.stat().st_size > 400_000] == []
    assert pictures


def test_every_picture_says_what_it_shows() -> None:
    """Each has a text for those who cannot see it."""
    silent = [str(page) for page in PAGES if re.search(r"!\[\s*\]\(", page.read_text(encoding="utf-8"))]
    assert silent == []
