"""How long the frames of a use are, and how many go out in one turn.

A frame waits for others to the same receiver only where they come faster than turns do, so that
light and regular flows send one frame a turn (IEEE 802.11-2020 10.12, from memory). Figures:

* voice: a frame each 20 ms, as long as the rate makes it (RFC 3551 4.2; G.711 with RTP is 172
  octets at 68.8 kb/s, and 50 frames each way a second), never aggregated;
* sensors: 64 octets, one frame a turn (common practice: 50 to 300);
* cameras: packets of 1400 octets, two a turn (common practice: one to four);
* everything else: whole packets of 1472 octets, as many in a turn as the standard allows, since a
  device that gets less than it asks for always has the next packet waiting.
"""

from __future__ import annotations

from typing import Final

from msgspec import Struct

from meshlint.physics.mac import IP_PAYLOAD_OCTETS

VOICE_INTERVAL_S: Final = 0.02
SENSOR_OCTETS: Final = 64
CAMERA_OCTETS: Final = 1400
CAMERA_FRAMES: Final = 2


class Frames(Struct, frozen=True):
    """What one turn of a flow carries: payload octets of a frame, and how many frames at most."""

    payload_octets: int = IP_PAYLOAD_OCTETS
    most_frames: int | None = None


BULK: Final = Frames()
"""Whole packets, as many in a turn as there is room for."""


def frames_of(use: str | None, rate_mbps: float) -> Frames:
    """Return the frames of a device's flow of so many Mb/s one way, by what it is used for."""
    if use == "voice":
        octets = round(rate_mbps * 1e6 * VOICE_INTERVAL_S / 8)
        return Frames(min(max(octets, 1), IP_PAYLOAD_OCTETS), 1)
    if use == "sensor":
        return Frames(SENSOR_OCTETS, 1)
    if use == "camera":
        return Frames(CAMERA_OCTETS, CAMERA_FRAMES)
    return BULK
