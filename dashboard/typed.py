"""Words that come without a form of their own, such as a search or a reason under a button."""

from collections.abc import Mapping

LONGEST = 2000


def typed_text(sent: Mapping[str, str], name: str, *, longest: int = LONGEST) -> str:
    """Return what was typed, without the one character that no database keeps in a text.

    >>> typed_text({"q": " demo\\x00-41 "}, "q")
    'demo-41'
    """
    return sent.get(name, "").replace("\x00", "").strip()[:longest]
