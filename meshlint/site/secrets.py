"""Where a site file holds what looks like a secret.

Only the place, the kind and the length of a secret leave this module, never the secret itself
(CWE-532, insertion of sensitive information into a log).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Pointer

# A reference names a store and an entry in it: `vault:staff`, `op://site/staff`, `env:STAFF`.
_REFERENCE = re.compile(r"[a-z][a-z0-9+.-]*:[^\s]+")

# Keys whose value, if it is a text at all, is the secret itself.
_SECRET_KEYS = frozenset({"passphrase", "password", "psk", "key"})


def secrets_in(raw: dict[str, Any]) -> list[dict[str, Any]]:
    """Return where secrets stand, as fields of `model.SecretFound`, in the order of the file."""
    return [
        {"pointer": pointer, "kind": str(pointer[-1]), "length": len(text)}
        for pointer, text in _texts(raw, ())
        if _is_secret(str(pointer[-1]), text)
    ]


def _is_secret(key: str, text: str) -> bool:
    if key in _SECRET_KEYS:
        return text != ""
    return key == "secret" and not _REFERENCE.fullmatch(text)


def _texts(value: object, pointer: Pointer) -> Iterator[tuple[Pointer, str]]:
    if isinstance(value, dict):
        for key, member in value.items():
            yield from _texts(member, (*pointer, key))
    elif isinstance(value, list):
        for position, member in enumerate(value):
            yield from _texts(member, (*pointer, position))
    elif isinstance(value, str) and pointer:
        yield pointer, value
