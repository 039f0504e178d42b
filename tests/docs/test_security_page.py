"""docs/security.md: each item is held by a test that exists, or says why it is not."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "security.md").read_text()
ROWS = re.findall(r"^\| (\d.*?) \| (.+?) \| (.+) \|$", PAGE, re.MULTILINE)
NAMED = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", PAGE)
ITEM = re.compile(r"\d+\.\d+\.\d+")
REASON = re.compile(r"Does not apply: |Not asked for |is the host's to keep")


def test_the_page_has_its_items() -> None:
    items = [item for row in ROWS for item in ITEM.findall(row[0])]
    assert len(items) >= 45
    assert len(items) == len(set(items))
    assert len(NAMED) >= 40


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_an_item_is_held_by_a_test_or_says_why_not(row: tuple[str, str, str]) -> None:
    assert "::test_" in row[2] or REASON.search(row[2])


@pytest.mark.parametrize(("file", "name"), NAMED)
def test_a_named_test_exists(file: str, name: str) -> None:
    module = ast.parse((ROOT / file).read_text())
    assert name in {node.name for node in module.body if isinstance(node, ast.FunctionDef)}
