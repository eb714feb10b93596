"""What backhaul gives where it is and where it would be best, and all that has to move for that."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.alternatives.band_moves import choice, moving
from meshlint.workings.capacity.scenario import DRAWN, others_percent
from meshlint.workings.contention.domains import HEARING
from meshlint.workings.fact import STATED, Kind, fact
from meshlint.workings.links.cable_routes import cable_way

if TYPE_CHECKING:
    from meshlint.site.model import Link
    from meshlint.workings.site_workings import Workings

MOVED = f"{DRAWN}; the band of most gain to the one that gets least, and to all together; {HEARING}"


@fact(
    "link.moves_with",
    Kind.TEXTS,
    "the links that must change their channel together, itself among them",
    source=STATED,
)
def moves_with(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(other.name for other in moving(w, link))


@fact("link.moving_set", Kind.TEXT, "the first of those links", source=STATED)
def moving_set(w: Workings, link: Link) -> str:
    return moving(w, link)[0].name


@fact(
    "link.set_has_route",
    Kind.TRUTH,
    "whether the file lists a cable route that could take the place of one of those links",
    source=STATED,
)
def set_has_route(w: Workings, link: Link) -> bool:
    if w.site.cable_routes is None:
        return False
    return any(cable_way(w, other) is not None for other in moving(w, link))


@fact(
    "link.drawing_units",
    Kind.TEXTS,
    "the units behind those links, and behind others on the air that they would move to",
    source=HEARING,
)
def drawing_units(w: Workings, link: Link) -> tuple[str, ...]:
    return tuple(choice(w, link).today.mbps)


@fact(
    "link.drawn_mbps",
    Kind.NUMBER,
    "what those units get together when all of them draw at once",
    source=DRAWN,
    unit="Mb/s",
)
def drawn_mbps(w: Workings, link: Link) -> float:
    return choice(w, link).today.total_mbps


@fact(
    "link.drawn_least_mbps",
    Kind.NUMBER,
    "what the one of them gets that gets least",
    source=DRAWN,
    unit="Mb/s",
)
def drawn_least_mbps(w: Workings, link: Link) -> float:
    return choice(w, link).today.least_mbps


@fact(
    "link.others_on_air_percent",
    Kind.NUMBER,
    "what clients, names, neighbours and other backhaul take of the air that it uses",
    source=HEARING,
    unit="%",
)
def others_on_air_percent(w: Workings, link: Link) -> float:
    return others_percent(w, choice(w, link).today.scenario, link)


@fact(
    "link.best_band_channel",
    Kind.TEXT,
    "the channel of another band that all those units have and that gives them most, or today's",
    source=MOVED,
)
def best_band_channel(w: Workings, link: Link) -> str:
    return choice(w, link).best.channel


@fact(
    "link.best_band_mbps",
    Kind.NUMBER,
    "what they would get together there",
    source=MOVED,
    unit="Mb/s",
)
def best_band_mbps(w: Workings, link: Link) -> float:
    return choice(w, link).best.total_mbps


@fact(
    "link.best_band_least_mbps",
    Kind.NUMBER,
    "what the one of them would get there that gets least",
    source=MOVED,
    unit="Mb/s",
)
def best_band_least_mbps(w: Workings, link: Link) -> float:
    return choice(w, link).best.least_mbps


@fact(
    "link.best_band_others_percent",
    Kind.NUMBER,
    "what others would take of its air there",
    source=HEARING,
    unit="%",
)
def best_band_others_percent(w: Workings, link: Link) -> float:
    return others_percent(w, choice(w, link).best.scenario, link)


@fact(
    "link.best_band_sets",
    Kind.TEXTS,
    "radios that would have to be set to that channel first",
    source=MOVED,
)
def best_band_sets(w: Workings, link: Link) -> tuple[str, ...]:
    return choice(w, link).best.set_anew
