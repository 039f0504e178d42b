"""Roots of RFC 6962 hash trees: the leaves and roots that the reference implementation of Certificate Transparency
publishes with its tests (root hashes of trees of 0 to 8 leaves)."""

import hashlib

import pytest

from accounts.merkle import MerkleTree

LEAVES = [
    bytes.fromhex(leaf)
    for leaf in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    6: "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}


def tree(leaves: list[bytes]) -> MerkleTree:
    grown = MerkleTree()
    for leaf in leaves:
        grown.add(leaf)
    return grown


@pytest.mark.parametrize("size", ROOTS)
def test_roots_are_the_published_ones(size: int) -> None:
    assert tree(LEAVES[:size]).root() == ROOTS[size]


def defined_root(leaves: list[bytes]) -> bytes:
    """Return the root as the RFC defines it, by recursion."""
    if len(leaves) <= 1:
        return hashlib.sha256(b"\x00" + leaves[0] if leaves else b"").digest()
    split = 1
    while 2 * split < len(leaves):
        split *= 2
    return hashlib.sha256(b"\x01" + defined_root(leaves[:split]) + defined_root(leaves[split:])).digest()


def test_a_root_of_any_size_is_the_one_of_the_definition() -> None:
    leaves = [number.to_bytes(2) for number in range(70)]
    for size in range(71):
        assert tree(leaves[:size]).root() == defined_root(leaves[:size]).hex(), size


def test_asking_for_the_root_does_not_end_the_tree() -> None:
    grown = MerkleTree()
    for size, leaf in enumerate(LEAVES[:6], start=1):
        grown.add(leaf)
        assert (grown.size, grown.root()) == (size, defined_root(LEAVES[:size]).hex())
