"""Sites as large as a file may be, one for each thing that a file can hold many of.

`SITES` makes each from a size. `FULL` says at which size it meets the limits that hold unless a
policy says otherwise: that of its own kind, or of the parts that a file may have.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

Site = dict[str, Any]

HEAD = {
    "meshlint": 1,
    "site": {
        "name": "Large",
        "country": "GB",
        "surroundings": "office",
        "place": {"latitude": 54.3, "longitude": -2.7},
    },
    "primary": "u0",
    "internet_lines": {"main": {"enters_at": "u0", "down_mbps": 900, "up_mbps": 100}},
}
LOW = {"band": 2.4, "channel": 6, "width_mhz": 20, "power_dbm": 14, "carries": ["clients"]}
MID = {"band": 5, "channel": 36, "width_mhz": 40, "power_dbm": 17, "carries": ["clients"]}
HIGH = {"band": 5, "channel": 100, "width_mhz": 80, "power_dbm": 20, "carries": ["backhaul"]}
MODEL = {
    "kind": "access",
    "radios": {
        "low": {"band": 2.4, "generation": "802.11ax", "streams": 2, "max_width_mhz": 40},
        "mid": {"band": 5, "generation": "802.11ax", "streams": 2, "max_width_mhz": 160},
        "high": {"band": 5, "generation": "802.11ax", "streams": 4, "max_width_mhz": 160},
    },
    "ports": [{"count": 4, "rate_mbps": 1000, "media": "copper"}],
    "routing_mbps": 2000,
}
for radio in MODEL["radios"].values():
    radio.update(max_power_dbm=23, antenna_gain_dbi=3, noise_figure_db=6)


def units(count: int, step_m: float, columns: int = 25, **more: Any) -> Site:
    """Return units on a grid of places, `step_m` apart."""
    made = {}
    for at in range(count):
        place = {"level": "g", "x_m": at % columns * step_m, "y_m": at // columns * step_m}
        radios = {"low": LOW, "mid": {**MID, "channel": (36, 44, 52, 60)[at % 4]}, "high": HIGH}
        made[f"u{at}"] = {"model": "m", "at": place, "radios": radios, **more}
    return made


def site(made: Site, **parts: Any) -> Site:
    """Return a site of some units."""
    return {**HEAD, "models": {"m": MODEL}, "levels": {"g": {}}, "units": made, **parts}


def joined(count: int, over: str, step: Callable[[int], int]) -> Site:
    """Return links, each from a unit to one before it."""
    ends = {"from_radio": "high", "to_radio": "high"} if over == "radio" else {}
    return {
        f"l{at}": {"from": f"u{at}", "to": f"u{step(at)}", "over": over, **ends}
        for at in range(1, count)
    }


def before(at: int) -> int:
    """Return the unit just before: links make a chain."""
    return at - 1


def first(_: int) -> int:
    """Return the first unit: links make a star."""
    return 0


def half(at: int) -> int:
    """Return the unit half as far along: links make a tree."""
    return at // 2


def groups(count: int, of_units: int) -> Site:
    """Return groups of clients, spread over the units."""
    return {
        f"c{at}": {"count": 3, "near": f"u{at % of_units}", "band": 5, "down_mbps": 2, "up_mbps": 1}
        for at in range(count)
    }


def chain(count: int) -> Site:
    """Return units of which each reaches the primary through all before it."""
    return site(
        units(count, 15), backhaul=joined(count, "radio", before), clients=groups(count, count)
    )


def tree(count: int) -> Site:
    """Return units that are joined by radio as a tree."""
    return site(
        units(count, 15), backhaul=joined(count, "radio", half), clients=groups(count, count)
    )


def room(count: int) -> Site:
    """Return units that all stand in one room, joined by cable."""
    return site(
        units(count, 0.2), backhaul=joined(count, "cable", first), clients=groups(count, count)
    )


def spot(count: int) -> Site:
    """Return units that all stand on one spot, joined by radio."""
    return site(
        units(count, 0), backhaul=joined(count, "radio", first), clients=groups(count, count)
    )


def dense(count: int) -> Site:
    """Return links by radio between as few units as can have so many."""
    ends = [(a, b) for b in range(count) for a in range(b)][:count]
    most = max(b for _, b in ends) + 1
    links = {
        f"l{at}": {"from": f"u{a}", "to": f"u{b}", "over": "radio", "from_radio": "high"}
        for at, (a, b) in enumerate(ends)
    }
    return site(units(most, 5), backhaul=links, clients=groups(most, most))


def meshed(count: int) -> Site:
    """Return as many links as are taken among as many units as are taken."""
    made = units(count, 8)
    links = {}
    for at in range(1, count):
        for back in (1, 2, 7, 25):
            if at >= back:
                ends = {"from": f"u{at}", "to": f"u{at - back}", "over": "radio"}
                links[f"l{at}-{back}"] = {**ends, "role": "main" if back == 1 else "spare"}
    return site(made, backhaul=dict(list(links.items())[:2000]), clients=groups(count, count))


def routes(count: int) -> Site:
    """Return many cable routes between a few units, and some beside links."""
    laid = [
        {"between": [f"u{at % 100}", f"u{(at + 1 + at // 100) % 100}"], "state": "possible"}
        for at in range(count)
        if (at + 1 + at // 100) % 100 != at % 100
    ]
    links = joined(100, "cable", before)
    return site(units(100, 15), backhaul=links, cable_routes=laid)


def walls(count: int) -> Site:
    """Return many walls across a level with an outline, and many units on it."""
    drawn = [
        {"path_m": [[at % 250, at // 250 * 5], [at % 250, at // 250 * 5 + 4]], "material": "brick"}
        for at in range(count)
    ]
    outline = [[0, 0], [250, 0], [250, 100], [0, 100]]
    made = site(units(count // 10, 9), backhaul=joined(count // 10, "radio", half))
    return {**made, "levels": {"g": {"outline_m": outline, "walls": drawn, "ceiling_m": 3}}}


def long_walls(count: int) -> Site:
    """Return walls each of which stands before everything."""
    drawn = [
        {"path_m": [[-50, at / count * 100], [300, at / count * 100 + 0.01]], "material": "brick"}
        for at in range(count)
    ]
    outline = [[0, 0], [250, 0], [250, 100], [0, 100]]
    made = site(units(count // 10, 9), backhaul=joined(count // 10, "cable", first))
    return {**made, "levels": {"g": {"outline_m": outline, "walls": drawn, "ceiling_m": 3}}}


def areas(count: int) -> Site:
    """Return many areas that must be covered, all over one another."""
    corners = [[0, 0], [200, 0], [200, 90]]
    named = {f"a{at}": {"level": "g", "outline_m": corners} for at in range(count)}
    made = units(100, 9)
    return site(made, areas=named, backhaul=joined(100, "cable", first))


def corners(count: int) -> Site:
    """Return a level of very many corners."""
    edge = [[at * 200 / count, 90 if at % 2 else 60] for at in range(count - 2)]
    outline = [*edge, [200, 0], [0, 0]]
    return {**site(units(100, 9)), "levels": {"g": {"outline_m": outline, "walls": []}}}


def levels(count: int) -> Site:
    """Return many levels above one another, a unit on each of the first."""
    plan = {"outline_m": [[0, 0], [60, 0], [60, 30]], "ceiling_m": 2.5}
    storeys = {f"g{at}": {"base_m": at * 3, **plan} for at in range(count)}
    made = units(min(count, 300), 9)
    for at, unit in enumerate(made.values()):
        unit["at"]["level"] = f"g{at}"
    return {**site(made), "levels": storeys}


def waivers(count: int) -> Site:
    """Return waivers, many of them for one finding."""
    given = [
        {"rule": "channel-width-suits", "subject": f"units/u{at % 100}/radios/low", "because": "x"}
        for at in range(count)
    ]
    return site(units(100, 9), waivers=given)


def readings(count: int) -> Site:
    """Return readings of levels at places all over."""
    taken = [
        {
            "unit": f"u{at % 100}",
            "at": {"level": "g", "x_m": at % 97, "y_m": at % 89},
            "band": 5,
            "level_dbm": -60,
        }
        for at in range(count)
    ]
    return site(units(100, 9), readings=taken)


def among(count: int) -> int:
    """Return how many units something that there are so many of is spread over."""
    return max(2, min(300, count // 40))


def neighbours(count: int) -> Site:
    """Return networks of other people, heard everywhere."""
    some = among(count)
    heard = [
        {"heard_at": f"u{at % some}", "band": 5, "channel": (36, 44, 52)[at % 3], "level_dbm": -70}
        for at in range(count)
    ]
    return site(units(some, 9), neighbours=heard, backhaul=joined(some, "radio", half))


def clients(count: int) -> Site:
    """Return groups of clients by the thousand."""
    some = among(count)
    return site(units(some, 9), clients=groups(count, some), backhaul=joined(some, "radio", half))


def radars(count: int) -> Site:
    """Return radars, and radios on their spectrum."""
    some = among(count)
    known = [
        {"name": f"r{at}", "latitude": 54 + at % 100 / 100, "longitude": -2, "frequency_mhz": 5625}
        for at in range(count)
    ]
    return site(units(some, 9), radars=known, backhaul=joined(some, "radio", half))


def radios(count: int) -> Site:
    """Return one unit with as many radios as anything."""
    made = units(2, 9)
    made["u1"]["radios"] = {f"r{at}": {"band": 5, "channel": 36} for at in range(count)}
    del made["u1"]["model"]
    return site(made)


def networks(count: int) -> Site:
    """Return names on the air, on every radio of every unit."""
    named = {
        f"n{at}": {"name": f"n{at % 50}", "akm": "psk", "vlan": at + 1, "pmf": "optional"}
        for at in range(count)
    }
    return site(
        units(count * 2, 9), networks=named, backhaul=joined(count * 2, "cable", first),
        clients={n: {**g, "network": f"n{at % count}"}
                 for at, (n, g) in enumerate(groups(2 * count, 2 * count).items())},
    )  # fmt: skip


def vlans(count: int) -> Site:
    """Return links that name each VLAN that they carry, and a network for each of some."""
    links = joined(200, "cable", before)
    carried = list(range(1, count // 200 + 1))
    named = {f"n{at}": {"akm": "psk", "vlan": at + 1} for at in range(200)}
    return site(
        units(200, 9),
        networks=named,
        backhaul={name: {**link, "vlans": carried} for name, link in links.items()},
    )


def lines(count: int) -> Site:
    """Return lines to the internet."""
    drawn = {f"i{at}": {"enters_at": f"u{at % 50}", "down_mbps": 9} for at in range(count)}
    return {**site(units(50, 9), backhaul=joined(50, "cable", first)), "internet_lines": drawn}


def ports(count: int) -> Site:
    """Return a unit with ports of as many kinds as anything, and links that want one."""
    made = units(200, 9)
    kinds = [{"count": 1, "rate_mbps": 1000 + at, "media": "copper"} for at in range(count)]
    made["u0"]["ports"] = kinds
    return site(made, backhaul=joined(200, "cable", first))


def models(count: int) -> Site:
    """Return models of equipment that few units are of."""
    kinds = {f"m{at}": {"radios": {"r": {"band": 5}}} for at in range(count)}
    return {**site(units(50, 9)), "models": {"m": MODEL, **kinds}}


FULL = {
    **dict.fromkeys(("chain", "tree", "room", "spot", "meshed"), 500),
    **dict.fromkeys(("walls", "long_walls"), 4990),
    **dict.fromkeys(("areas", "levels"), 100),
    "dense": 2000,
    "routes": 18_000,
    "corners": 5000,
    "waivers": 14_000,
    "readings": 9000,
    "neighbours": 14_000,
    "clients": 12_000,
    "radars": 16_000,
    "radios": 4990,
    "networks": 200,
    "vlans": 180_000,
    "lines": 20_000,
    "ports": 4700,
    "models": 15_000,
}


def text_of(made: Site) -> bytes:
    """Return a site as the bytes of a file."""
    return json.dumps(made, separators=(",", ":")).encode()


def aliased(count: int, of_radios: int = 3) -> bytes:
    """Return the bytes of a file in which one unit's radios are everybody's."""
    made = {f"r{at}": {**HIGH, "channel": 36 + 4 * (at % 8)} for at in range(of_radios)}
    first_unit = f'"u0":{{"radios":&r {json.dumps(made)}}}'
    rest = ",".join(f'"u{at}":{{"radios":*r}}' for at in range(1, count))
    head = json.dumps(HEAD)[:-1]
    return f'{head},"units":{{{first_unit},{rest}}}}}'.encode()


SITES: dict[str, Callable[[int], Site]] = {
    made.__name__: made
    for made in (
        *(chain, tree, room, spot, dense, meshed, routes, walls, long_walls, areas, corners),
        *(levels, waivers, readings, neighbours, clients, radars, radios, networks, vlans),
        *(lines, ports, models),
    )
}
