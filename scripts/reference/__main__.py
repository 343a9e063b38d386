"""Write the generated reference pages and the output of commands in pages, or check that they are up to date.

Run it as::

    python scripts/reference            # writes docs/reference/… and renews every output
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
import terminal

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT / "docs" / "reference"
#: Each makes pages: from a name under docs/reference to the text.
WRITERS: tuple[Callable[[], dict[str, str]], ...] = (commands.write, pages.write, python_api.write, tables.write)


def main() -> int:
    """Write or compare every page, and say what was done."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="change nothing; say which pages are out of date")
    check = parser.parse_args().check
    made: dict[Path, str] = {}
    for writer in WRITERS:
        made |= {REFERENCE / name: text for name, text in writer().items()}
    behind = [path for path, text in made.items() if _is_behind(path, text, check=check)]
    behind += _left_over(made, check=check)
    spoken = terminal.pages_with_commands()
    behind += [path for path in spoken if _is_behind(path, terminal.renewed(path), check=check)]
    if check and behind:
        print(f"{len(behind)} pages are out of date. Run: python scripts/reference", file=sys.stderr)
        return 1
    print(f"{len(made) + len(spoken)} pages, {len(behind)} {'out of date' if check else 'written anew'}.")
    return 0


def _is_behind(path: Path, text: str, *, check: bool) -> bool:
    old = path.read_text(encoding="utf-8") if path.exists() else ""
    if old == text:
        return False
    name = str(path.relative_to(ROOT))
    if check:
        changes = difflib.unified_diff(old.splitlines(), text.splitlines(), name, "as it should be", lineterm="", n=0)
        print("\n".join(islice(changes, 12)), file=sys.stderr)
    else:
        print(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return True


def _left_over(made: dict[Path, str], *, check: bool) -> list[Path]:
    """Pages of modules that are gone."""
    gone = [path for path in sorted((REFERENCE / "python").glob("*.md")) if path not in made]
    for path in gone:
        if not check:
            path.unlink()
    return gone


if __name__ == "__main__":
    sys.exit(main())
