"""The tree head over a list of byte strings, as RFC 6962 section 2.1 defines it.

A leaf's hash and a node's begin with different bytes, so that no node can be passed off as a leaf.
"""

import hashlib
from collections.abc import Iterable, Sequence


def leaf_hash(data: bytes | memoryview) -> bytes:
    """The hash of one leaf."""
    hashed = hashlib.sha256(b"\x00")
    hashed.update(data)
    return hashed.digest()


def tree_head(leaves: Sequence[bytes]) -> bytes:
    """The head over the hashes of leaves, in their order."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = 1 << ((len(leaves) - 1).bit_length() - 1)  # the largest power of two below their number
    return hashlib.sha256(b"\x01" + tree_head(leaves[:split]) + tree_head(leaves[split:])).digest()


def merkle_root(data: Iterable[bytes | memoryview]) -> str:
    """The tree head over the byte strings, in hex."""
    return tree_head([leaf_hash(one) for one in data]).hex()
