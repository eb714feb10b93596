"""How long the frames of a use are, and how many go out in one turn.

A frame waits for others to the same receiver only where they come faster than turns do, so that
light and regular flows send one frame a turn (IEEE 802.11-2020 10.12, from memory). Figures:

* voice: a frame each 20 ms, as long as the rate makes it (RFC 3551 4.2; G.711 with RTP is 172
  octets at 68.8 kb/s, and 50 frames each way a second), never aggregated;
* sensors: 64 octets, one frame a turn (common practice: 50 to 300);
* cameras: packets of 1400 octets, two a turn (common practice: one to four);
* video, films and meetings alike: packets of 1200 octets, of which those of one picture wait for
  each other, 30 pictures a second (guides to video calls: 900 to 1200 octets; from memory);
* everything else: whole packets of 1472 octets, as many in a turn as the standard allows, since a
  device that gets less than it asks for always has the next packet waiting.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from meshlint.physics.mac import IP_PAYLOAD_OCTETS

if TYPE_CHECKING:
    from collections.abc import Mapping


class Frames(Struct, frozen=True):
    """What one turn of a flow carries: payload octets of a frame, and how many frames at most."""

    payload_octets: int = IP_PAYLOAD_OCTETS
    most_frames: int | None = None


BULK: Final = Frames()
"""Whole packets, as many in a turn as there is room for."""


class Pattern(Struct, frozen=True):
    """How the traffic of a use comes: in packets of at most so many octets.

    `frames` is how many of them wait for each other, as many as there is room for where that is
    None. With `every_s` it is all that has come in so many seconds.
    """

    most_octets: int = IP_PAYLOAD_OCTETS
    frames: int | None = None
    every_s: float | None = None

    def at(self, rate_mbps: float) -> Frames:
        """Return the frames of a flow of so many Mb/s."""
        if self.every_s is None:
            return Frames(self.most_octets, self.frames)
        octets = max(1, round(rate_mbps * 1e6 * self.every_s / 8))
        if self.frames == 1:
            return Frames(min(octets, self.most_octets), 1)
        return Frames(self.most_octets, math.ceil(octets / self.most_octets))


PATTERNS: Final[Mapping[str, Pattern]] = {
    "voice": Pattern(frames=1, every_s=0.02),
    "sensor": Pattern(64, 1),
    "camera": Pattern(1400, 2),
    "video": Pattern(1200, every_s=1 / 30),
    "data": Pattern(),
}
"""By the uses that a site file knows."""


def frames_of(use: str | None, rate_mbps: float) -> Frames:
    """Return the frames of a device's flow of so many Mb/s one way, by what it is used for."""
    return BULK if use is None else PATTERNS[use].at(rate_mbps)
