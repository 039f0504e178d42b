"""Anchored heads: how far an audit chain had come at a moment, kept where nobody who can change it can reach.

Whoever cuts entries off the end of a chain, or hashes it all anew, leaves a chain that is sound in itself; only a head
that was written down elsewhere before tells.
"""

import datetime as dt
import json
from dataclasses import asdict, dataclass
from typing import Any

from django.utils.translation import gettext as _

from accounts.canonical import plain
from accounts.errors import Fault, Refused
from accounts.models import Organisation

HEX_DIGITS = frozenset("0123456789abcdef")
HASH_LENGTH = 64


@dataclass(frozen=True, slots=True)
class Anchor:
    """The newest entry of an organisation's chain at a moment, and the RFC 6962 root over the entries up to it."""

    organisation: str
    sequence: int
    hash: str
    merkle_root: str
    taken_at: str


def anchor_of(organisation: Organisation, *, sequence: int, hash: str, merkle_root: str, at: dt.datetime) -> Anchor:
    """Return the anchor of a chain as it was checked."""
    return Anchor(str(organisation.uuid), sequence, hash, merkle_root, str(plain(at)))


def anchor_text(anchor: Anchor) -> str:
    """Return the anchor as a file."""
    return json.dumps(asdict(anchor), indent=2) + "\n"


def parsed_anchor(text: str) -> Anchor:
    """Return the anchor in a file, and raise Refused where the file holds none."""
    try:
        document = json.loads(text)
    except ValueError:
        raise _no_anchor() from None
    if not isinstance(document, dict) or set(document) != set(Anchor.__slots__):
        raise _no_anchor()
    newest, root = document["hash"], document["merkle_root"]
    sequence = document["sequence"]
    if (
        not (_is_hash(newest) and _is_hash(root))
        or not isinstance(sequence, int)
        or isinstance(sequence, bool)
        or sequence < 0
    ):
        raise _no_anchor()
    return Anchor(str(document["organisation"]), sequence, newest, root, str(document["taken_at"]))


def _is_hash(value: Any) -> bool:
    return isinstance(value, str) and len(value) == HASH_LENGTH and set(value) <= HEX_DIGITS


def _no_anchor() -> Refused:
    return Refused(Fault(("anchor",), "invalid", _("This is no anchored head as this service writes one.")))
