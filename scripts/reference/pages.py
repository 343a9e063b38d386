"""The page of the web app's addresses, from the sections that it serves."""

from __future__ import annotations

from truemile.web.pages import SECTIONS as NAMED
from truemile.web.pages import Page, help_of
from truemile.web.views import SECTIONS

HEAD = """# Pages

The web app is served on this computer only. Each page has a twin for machines at the same address with `.json` behind
it, made of the very variables that the page shows.

A form is sent by POST. If it is refused, the page comes back with everything that was typed and a mark at each fault.

## Sections

| section | address |
|---|---|
"""


def write() -> dict[str, str]:
    """Return the page."""
    parts = [HEAD + "".join(f"| {name} | `{path}` |\n" for name, path in NAMED)]
    names = [name for name, _ in NAMED]
    found = [page for section in SECTIONS for page in section.pages]
    found.sort(key=lambda page: (names.index(page.section) if page.section in names else len(names), page.path))
    parts += [_page(page) for page in found]
    actions = [action for section in SECTIONS for action in section.actions]
    parts.append("## Forms\n\n| POST to | on the page | form |\n|---|---|---|")
    parts[-1] += "".join(f"\n| `{each.path}` | `{each.page.path}` | {each.form} |" for each in actions) + "\n"
    downloads = [download for section in SECTIONS for download in section.downloads]
    parts.append("## Files\n\n| address | kind |\n|---|---|")
    parts[-1] += "".join(f"\n| `{each.path}` | `{each.media_type}` |" for each in downloads) + "\n"
    return {"pages.md": "\n".join(parts)}


def _page(page: Page) -> str:
    words = (page.context.__doc__ or "").strip().splitlines()[0]
    rows = "".join(f"\n| `{name}` | {text} |" for name, text in help_of(page.context).items())
    where = f"Section {page.section}. " if page.section else ""
    return f"## {page.path}\n\n{where}{words}\n\n| variable | |\n|---|---|{rows}\n"
