"""Which rules a word of the trade is about, the ones that name it in their title first."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meshlint.lint.card import Card

_SAME: Final[dict[str, tuple[str, ...]]] = {
    "ap": ("unit", "access point"),
    "access point": ("unit", "access point"),
    "node": ("unit",),
    "gateway": ("primary",),
    "root": ("primary",),
    "cci": ("co-channel",),
    "interference": ("co-channel", "wait for each other", "neighbours"),
    "overlap": ("overlap", "co-channel"),
    "radar": ("radar", "DFS"),
    "cac": ("channel availability check",),
    "handover": ("roam", "roaming"),
    "wpa": ("akm", "passphrase", "cipher"),
    "wpa2": ("akm", "passphrase", "cipher"),
    "wpa3": ("akm", "SAE"),
    "psk": ("passphrase",),
    "wps": ("push button",),
    "stp": ("loop", "spanning tree"),
    "ethernet": ("cable",),
    "wired": ("cable",),
    "antenna": ("antenna", "antennas"),
    "bandwidth": ("width", "channel width"),
    "latency": ("delay", "latency"),
    "eirp": ("EIRP", "radiated"),
    "poe": ("PoE", "power over"),
    "ssid": ("SSID", "network name", "names on the air"),
    "outdoor": ("outdoors", "outdoor"),
    "outdoors": ("outdoors", "outdoor"),
    "guest": ("guest", "guests"),
    "beacon": ("beacon", "beacons"),
}
"""Other words for the same, as cards have them: the trade has several names for many things."""


def about(cards: Iterable[Card], word: str) -> tuple[Card, ...]:
    """Return the cards that treat a word or its like, best first: by title, purpose, then the rest.

    A word counts in any case and with a plural s, and only whole.
    """
    words = _SAME.get(word.lower(), (word,))
    pattern = re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, words))})s?(?![\w])", re.IGNORECASE)
    ranked = []
    for position, card in enumerate(cards):
        rest = (card.rationale, card.blind_spots, card.says.text, card.remedy.text)
        parts = (f"{card.id.replace('-', ' ')} {card.title} {card.asks}", card.why, " ".join(rest))
        rank = next((at for at, part in enumerate(parts) if pattern.search(part)), None)
        if rank is not None:
            ranked.append((rank, position, card))
    return tuple(card for _, _, card in sorted(ranked, key=lambda entry: entry[:2]))
