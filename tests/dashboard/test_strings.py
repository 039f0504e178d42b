"""Every visible string of a template is marked for translation, and no template needs what the policy forbids."""

import re
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent.parent.parent / "dashboard/templates"
TEMPLATES = sorted(FOLDER.rglob("*.html"))
MARKED = re.compile(r"\{%\s*blocktranslate.*?endblocktranslate\s*%\}", re.DOTALL)
TEMPLATE_CODE = re.compile(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", re.DOTALL)
# A subscript is part of a symbol.
UNSEEN = re.compile(r"<!--.*?-->|<(script|style|sub)\b.*?</\1>", re.DOTALL)
TAG = re.compile(r"<[^>]*>", re.DOTALL)
SPOKEN = re.compile(r"""\b(?:aria-label|title|alt|placeholder)=("[^"]*"|'[^']*')""")
# Two letters or more; a symbol of a formula, such as V₀, is one.
WORD = re.compile(r"[A-Za-zÀ-ɏ]{2,}")
# The name of the book, units and electrical symbols are the same in every language.
SAME_EVERYWHERE = {"Coilbook", "Hz", "kHz", "mm", "UTC", "VIN"}


def unmarked(text: str) -> list[str]:
    """Return the words a reader would see that no translator would."""
    without = TEMPLATE_CODE.sub(" ", MARKED.sub(" ", text))
    without = re.sub(r"&\w+;", " ", UNSEEN.sub(" ", without))
    spoken = " ".join(SPOKEN.findall(without))
    return [word for word in WORD.findall(TAG.sub(" ", without) + spoken) if word not in SAME_EVERYWHERE]


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: str(path.relative_to(FOLDER)))
def test_every_visible_string_is_marked_for_translation(template: Path) -> None:
    assert unmarked(template.read_text()) == []


def test_an_unmarked_string_is_found_in_text_and_in_what_is_spoken() -> None:
    assert unmarked("<p>{% translate 'Sign in' %}</p>") == []
    assert unmarked("<p>{{ name }} signed in</p>") == ["signed", "in"]
    assert unmarked('<nav aria-label="Pages"></nav>') == ["Pages"]


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: str(path.relative_to(FOLDER)))
def test_a_template_has_no_inline_style_or_script(template: Path) -> None:
    text = template.read_text()
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text) if "application/json" not in tag)
