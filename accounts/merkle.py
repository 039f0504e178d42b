"""The root of a hash tree over any number of leaves, in memory that grows with the logarithm of their number.

References
----------
RFC 6962 section 2.1: leaf = SHA-256(0x00 ‖ data), node = SHA-256(0x01 ‖ left ‖ right), split at the largest power of
two below the number of leaves.
"""

import hashlib


class MerkleTree:
    """Takes leaves one after another and knows the root of those it has taken."""

    def __init__(self) -> None:
        """Start empty."""
        self.size = 0
        # The roots of the full subtrees from left to right, each with its number of leaves.
        self._full: list[tuple[int, bytes]] = []

    def add(self, leaf: bytes) -> None:
        """Take one more leaf."""
        leaves, node = 1, hashlib.sha256(b"\x00" + leaf).digest()
        while self._full and self._full[-1][0] == leaves:
            leaves, node = 2 * leaves, _node(self._full.pop()[1], node)
        self._full.append((leaves, node))
        self.size += 1

    def root(self) -> str:
        """Return the root, in hexadecimal.

        >>> MerkleTree().root()
        'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855'
        """
        if not self._full:
            return hashlib.sha256(b"").hexdigest()
        *others, (_leaves, root) = self._full
        for _leaves, left in reversed(others):
            root = _node(left, root)
        return root.hex()


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()
