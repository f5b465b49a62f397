"""Every public item of crates/eye is documented with a number: an example, a size or a source's year.

The sphere is what people take millimetres from, so that no item of it may leave unit and size to the reader. Plain
regular expressions over the sources: `pub` items (functions, constants, types and fields) with the `///` lines before them.
"""

import re

import pytest

from house import ROOT

SOURCES = sorted((ROOT / "crates" / "eye" / "src").rglob("*.rs"))
ITEM = re.compile(r"^\s*pub (?:const fn|fn|const|static|struct|enum|trait|type)?\s*(\w+)")
SKIPPED = re.compile(r"^\s*(#\[|#!\[|\)\]|//[^/])")


def items(text: str):
    """(name, line number, doc) of every public item, tests left out."""
    lines = text.split("#[cfg(test)]")[0].splitlines()
    for number, line in enumerate(lines, 1):
        found = ITEM.match(line)
        if not found or re.match(r"^\s*pub (use|mod)\b", line):
            continue
        doc, at, inside = [], number - 2, False
        while at >= 0:
            before = lines[at].strip()
            if before.startswith("///"):
                doc.append(before[3:])
            elif before.endswith(")]") and not before.startswith("#["):
                inside = True  # the end of an attribute over several lines
            elif inside:
                inside = not before.startswith("#[")
            elif not SKIPPED.match(lines[at]):
                break
            at -= 1
        yield found.group(1), number, " ".join(reversed(doc))


def test_the_sources_are_found():
    assert sum(1 for path in SOURCES for _ in items(path.read_text())) > 100


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: p.name)
def test_every_public_item_has_a_doc_with_a_number(path):
    bare = [f"{path.name}:{line} {name}" for name, line, doc in items(path.read_text()) if not re.search(r"\d", doc)]
    assert not bare, "no number in the doc of " + ", ".join(bare)


def test_a_doc_without_a_number_is_found():
    text = "/// How far.\n#[must_use]\npub fn far() {}\n/// 5° away.\npub const X: u8 = 1;\n"
    assert [name for name, _, doc in items(text) if not re.search(r"\d", doc)] == ["far"]
