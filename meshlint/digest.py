"""Digests for the cache: BLAKE2, and how two of them are compared.

`hashlib` and `hmac` have these from the two modules named here, and load OpenSSL with them, which
neither needs: 3 ms of the 80 that a fully cached run takes.
"""

from __future__ import annotations

try:
    from _blake2 import blake2b
    from _operator import _compare_digest as compare_digest
except ImportError:  # another Python than CPython
    from hashlib import blake2b
    from hmac import compare_digest  # type: ignore[no-redef]

__all__ = ["blake2b", "compare_digest"]
