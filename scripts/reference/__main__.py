"""Write the generated reference pages, or check that they are up to date.

Run it as::

    python scripts/reference            # writes docs/reference/…
    python scripts/reference --check    # changes nothing; exit code 1 if a page is out of date
"""

from __future__ import annotations

import argparse
import difflib
import sys
from collections.abc import Callable
from itertools import islice
from pathlib import Path

import commands
import pages
import python_api
import tables

DOCS = Path(__file__).resolve().parents[2] / "docs"
#: What each writer makes: from a page's name under docs/reference to its text.
WRITERS: tuple[Callable[[], dict[str, str]], ...] = (commands.write, pages.write, python_api.write, tables.write)


def main() -> int:
    """Write or compare every page, and say what was done."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="change nothing; say which pages are out of date")
    check = parser.parse_args().check
    made: dict[str, str] = {}
    for writer in WRITERS:
        made |= writer()
    behind = [name for name, text in made.items() if _is_behind(name, text, check=check)]
    behind += _left_over(made, check=check)
    if check and behind:
        print(f"{len(behind)} pages are out of date. Run: python scripts/reference", file=sys.stderr)
        return 1
    print(f"{len(made)} pages, {len(behind)} {'out of date' if check else 'written anew'}.")
    return 0


def _is_behind(name: str, text: str, *, check: bool) -> bool:
    path = DOCS / "reference" / name
    old = path.read_text(encoding="utf-8") if path.exists() else ""
    if old == text:
        return False
    if check:
        changes = difflib.unified_diff(old.splitlines(), text.splitlines(), str(path.name), "as it should be", n=0)
        print("\n".join(islice(changes, 12)), file=sys.stderr)
    else:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return True


def _left_over(made: dict[str, str], *, check: bool) -> list[str]:
    """Pages of modules that are gone."""
    kept = {name.removeprefix("python/") for name in made if name.startswith("python/")}
    gone = [path for path in sorted((DOCS / "reference" / "python").glob("*.md")) if path.name not in kept]
    for path in gone:
        if not check:
            path.unlink()
    return [path.name for path in gone]


if __name__ == "__main__":
    sys.exit(main())
