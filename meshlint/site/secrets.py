"""Where a site file holds what looks like a secret.

Only the place, the kind and the length of a secret leave this module, never the secret itself
(CWE-532, insertion of sensitive information into a log). Three signs tell one: the key that it
stands under, words such as `psk=` before it, and its own shape. The signs are tuned to stay silent
on names, addresses, dates, paths, digests and model numbers, so a short word that is a passphrase
and looks like any other word is found under a key for secrets only.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.source import Document

# Keys whose value, if it is a text at all, is the secret itself.
_SECRET_KEYS = frozenset({"secret", "passphrase", "password", "psk", "key"})

# A reference names a store and an entry in it: `vault:staff`, `op://site/staff`, `env:STAFF`. Of a
# store that is not known here, the entry must look like a path, or be words alone.
_STORES = (
    r"(vault|op|env|file|ref|sops|pass|keyring|keychain|kms|keyvault|secretsmanager|ssm|gcp-sm|"
    r"aws-sm|azure-kv|bw|bws|keepass|doppler|arn|safe|store):"
)
_REFERENCE = r"[a-z][a-z0-9+.-]*:(//\S+|\S*/\S*|[A-Za-z]+([-_.][A-Za-z]+)*(#[\w-]+)?)"

# Free texts that reports repeat.
_REPEATED = frozenset({"name", "because", "approved_by"})

# What stands where a secret will be, or was.
_PLACEHOLDER = (
    r"(?i)<[^>]*>|\$\{[^}]*\}|\{\{[^}]*\}\}|\$[A-Z_]+|[*x.•-]+|none|null|nil|n/?a|tbd|tba|todo|"
    r"redacted|removed|hidden|unset|unknown|empty|yes|no|true|false|required|optional"
)

_NAMES = (
    r"(?:pass(?:word|phrase|wd|code)?|pwd|psk|pin|secret|token|credentials?|"
    r"(?:wpa\d?|wep|wifi|wi-fi|network|pre-?shared|api|private|secret|access|encryption)"
    r"[-_ ]?(?:psk|key|pass(?:word|phrase)?)\d?|sae_password|wep_key\d)"
)
_NAMED = (
    rf"(?i)(?<![a-z]){_NAMES}\s{{0,8}}(?P<sign>:=|=>?|:|\bis\b)\s{{0,8}}"
    r"[\"'`]?(?P<value>[^\s\"'`,;]+)"
)

# Each shape with marks of which a text must hold one before it is looked through. As with every
# pattern here, one that no text calls for is never compiled: all of them take 4 ms.
_SHAPES: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("private key", ("-----BEGIN",), r"-----BEGIN [A-Z ]{0,40}PRIVATE KEY-----"),
    ("web token", ("eyJ",), r"\beyJ[\w-]{8,400}\.[\w-]{8,}(?:\.[\w-]*)?"),
    ("access key", ("AKIA", "ASIA"), r"A(?:KIA|SIA)[0-9A-Z]{16}(?![0-9A-Z])"),
    (
        "access token",
        ("ghp_", "gho_", "ghu_", "ghs_", "ghr_", "glpat-", "xox", "sk_live_", "AIza"),
        r"\b(?:gh[pousr]_|glpat-|xox[abprs]-|sk_live_|AIza)[\w-]{16,}",
    ),
    ("authorization", ("Basic", "Bearer"), r"\b(?:Basic|Bearer)\s+[\w+/.~-]{12,}=*"),
    (
        "password in an address",
        ("://",),
        r"\b[a-z][a-z0-9+.-]{0,20}://[^\s/:@]{0,80}:[^\s/@]{1,200}@",
    ),
    ("network to scan", ("WIFI:",), r"WIFI:(?:[^;]{0,80};){0,6}P:[^;]{1,200};"),
    # 40 digits are left out: they name commits. So are digests that say what they are.
    (
        "hexadecimal key",
        ("",),
        r"(?<![\w:/-])(?:[0-9a-fA-F]{32}|[0-9a-fA-F]{48}|[0-9a-fA-F]{64})(?![\w-])",
    ),
)

# No text, however long, may cost more than its length: shapes are bounded and long texts are looked
# at piece by piece, each overlapping the last by more than most secrets are long.
_PIECE = 2000
_OVERLAP = 400

_SIGN = r"(?i)[=:]|\bis\b"
_UNBROKEN = r"[A-Za-z0-9+/_=.!@#$%^&*~-]{16,}"
_RUNS = r"[A-Z]+|[a-z]+|[0-9]+"
_WORD = r"(?=[A-Z]?[a-z]*[aeiouy])[A-Z]?[a-z]{2,}"

_LEAST_MIXED = 0.3
"""Changes of class (capital, small, digit) for each character. Drawn ones change at 0.62 of their
places (26, 26 and 10 out of 62), small letters and digits at 0.4, words written together at 0.2."""

_MOST_IN_WORDS = 0.45
"""Share of characters in what could be a word: a capital at most, small letters, a vowel."""

_LEAST_DRAWN = 16


def secrets_in(document: Document) -> list[dict[str, Any]]:
    """Return where secrets stand, as fields of `model.SecretFound`, in the order of the file."""
    found: list[dict[str, Any]] = []
    _look(document.value, [], found)
    return [*found, *_in_comments(document)]


def without_secrets(raw: dict[str, Any], found: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the site with the names and reasons that hold secrets taken out of it.

    Reports repeat names and reasons, so these must not reach the model. What others refer to by
    (names of units and the like) stays, or nothing would fit together any more.
    """
    told = [entry for entry in found if entry["pointer"] and entry["pointer"][-1] in _REPEATED]
    if not told:
        return raw
    from copy import deepcopy  # wanted by few sites

    cleared = deepcopy(raw)
    for entry in told:
        *way, last = entry["pointer"]
        holder: Any = cleared
        for step in way:
            holder = holder[step]
        holder[last] = f"({entry['kind']})"
    return cleared


def may_be_repeated(text: str, key: object) -> bool:
    """Return whether a report may show a text that stands under a key: it holds no secret."""
    return key not in _SECRET_KEYS and secret_shape(text) is None


def _secret_in(text: str, key: str | int) -> tuple[str, int] | None:
    """Return (kind, length) of the secret that a text under a key holds."""
    if isinstance(key, str) and key in _SECRET_KEYS:
        if text and not is_reference(text) and not re.fullmatch(_PLACEHOLDER, text.strip()):
            return key, len(text)
        return None
    return secret_shape(text)


def is_reference(text: str) -> bool:
    """Return whether a text names where a secret is kept and is none itself."""
    head, _, entry = text.partition(":")
    known = re.match(_STORES, text) is not None and not re.search(r"\s", entry) and entry != ""
    return (known or re.fullmatch(_REFERENCE, text) is not None) and (
        "//" not in text or "@" not in text or head in ("op", "vault")
    )


def secret_shape(text: str) -> tuple[str, int] | None:
    """Return (kind, length) of a secret that free text holds, by its shape; `None` if none."""
    if len(text) < _LEAST_DRAWN:
        # Most texts of a file are short names, and searching costs more than these questions.
        if "=" not in text and ":" not in text and "is" not in text.lower():
            return None
        if not re.search(_SIGN, text):
            return None
    pieces = range(0, max(1, len(text) - _OVERLAP), _PIECE - _OVERLAP)
    found = (_shape_in(text[start : start + _PIECE]) for start in pieces)
    return next((secret for secret in found if secret is not None), None)


def _shape_in(text: str) -> tuple[str, int] | None:
    for kind, marks, shape in _SHAPES:
        if any(mark in text for mark in marks) and (match := re.search(shape, text)):
            return kind, len(match[0])
    for match in re.finditer(_NAMED, text) if re.search(_SIGN, text) else ():
        if _given_away(match["value"], match["sign"]):
            return "secret after its name", len(match["value"])
    for match in re.finditer(_UNBROKEN, text):
        if _looks_drawn(match[0]):
            return "random-looking text", len(match[0])
    return None


def _given_away(value: str, sign: str) -> bool:
    """Return whether what follows `psk=` or `password is` is a secret and no word of a sentence."""
    bare = value.rstrip(".,;)")
    if len(bare) < 4 or is_reference(bare) or re.fullmatch(_PLACEHOLDER, bare):  # noqa: PLR2004
        return False
    if "=" in sign:
        return True
    # After a colon or `is` a sentence may go on; a secret rarely looks like a word of one.
    return not re.fullmatch(
        r"[A-Za-z]?[a-z'-]*|\d{1,4}([-./]\d{1,2}){0,2}|\d+ ?[a-z]+|[A-Z]+", bare
    )


def _looks_drawn(token: str) -> bool:
    """Return whether capitals, small letters and digits follow each other as in a drawn text."""
    parts = [part for part in re.split(r"[^A-Za-z0-9]+", token) if part]
    letters = sum(map(len, parts))
    # What is hexadecimal alone is told by its length among the shapes.
    if letters < _LEAST_DRAWN or re.fullmatch(r"[0-9a-fA-F-]+", token):
        return False
    changes = sum(len(re.findall(_RUNS, part)) - 1 for part in parts)
    in_words = sum(len(word) for part in parts for word in re.findall(_WORD, part))
    return changes / letters >= _LEAST_MIXED and in_words / letters <= _MOST_IN_WORDS


def _look(value: object, way: list[str | int], found: list[dict[str, Any]]) -> None:
    """Add the secrets in every text of a value that stands at the end of a way.

    A name of a member that is a secret must not be told as part of a place: it points at what it
    is in, and the member is left.
    """
    if isinstance(value, str):
        if way and (secret := _secret_in(value, way[-1])):
            found.append(_entry(way, secret))
    elif isinstance(value, dict):
        for key, member in value.items():
            if (len(key) >= _LEAST_DRAWN or "=" in key) and (secret := secret_shape(key)):
                found.append(_entry(way, secret))
            elif isinstance(member, str | dict | list):
                way.append(key)
                _look(member, way, found)
                way.pop()
    elif isinstance(value, list):
        for position, member in enumerate(value):
            way.append(position)
            _look(member, way, found)
            way.pop()


def _entry(way: list[str | int], secret: tuple[str, int]) -> dict[str, Any]:
    return {"pointer": tuple(way), "kind": secret[0], "length": secret[1]}


def _in_comments(document: Document) -> Iterator[dict[str, Any]]:
    for number, comment in document.comments():
        found = secret_shape(comment)
        if found is not None:
            kind, length = found
            yield {"pointer": (), "line": number, "kind": f"{kind} in a comment", "length": length}
