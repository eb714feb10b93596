"""How far the capacity model is off every published and simulated figure that it is held against.

Run it as a script: python tests/benchmarks/capacity_error.py

Simulated figures are runs of ns-3 3.44, a packet-level simulator (saturated UDP of 1472 octets,
fixed rates, every node at -45 dBm unless said, best-effort access, no RTS/CTS unless said; means of
three seeds, to be trusted to 3 %). Published ones name their paper. Off is ours against theirs.
"""

from __future__ import annotations

from meshlint.physics.bianchi import Turn, path_goodput_mbps, saturation
from meshlint.physics.capacity import Hop, bottleneck, path_mbps
from meshlint.physics.mac import exchange
from meshlint.physics.phy import Mode

Row = tuple[str, str, float, float]

# Amendment, MCS, streams, MHz, simulated Mb/s.
ONE_HOP = [
    *(("802.11n", 7, s, mhz, g) for s, mhz, g in ((1, 20, 59.7), (2, 20, 118.0), (1, 40, 122.6))),
    ("802.11n", 7, 2, 40, 233.2),
    *(("802.11ac", 0, s, 80, g) for s, g in ((1, 26.7), (2, 53.4))),
    *(("802.11ac", 7, s, 80, g) for s, g in ((1, 259.9), (2, 485.8))),
    *(("802.11ac", 9, s, 80, g) for s, g in ((1, 339.2), (2, 620.9))),
    *(("802.11ac", 8, s, 20, g) for s, g in ((1, 71.7), (2, 143.2))),
    *(("802.11ac", 8, s, 40, g) for s, g in ((1, 148.5), (2, 285.6))),
    *(("802.11ac", 7, s, 20, g) for s, g in ((1, 59.8), (2, 119.6))),
    *(("802.11ac", 7, s, 40, g) for s, g in ((1, 124.2), (2, 241.2))),
    *(("802.11ax", 4, s, 80, g) for s, g in ((1, 197.9), (2, 395.2))),
    *(("802.11ax", 7, s, 80, g) for s, g in ((1, 330.1), (2, 653.4))),
    *(("802.11ax", 11, s, 80, g) for s, g in ((1, 549.4), (2, 1053.9))),
    *(("802.11ax", 7, s, 20, g) for s, g in ((1, 78.8), (2, 157.6))),
    *(("802.11ax", 7, s, 40, g) for s, g in ((1, 157.8), (2, 314.9))),
]

# Amendment, MCS, what is sent, at most so many frames in a turn (0: as many as may be), Mb/s over
# one hop of two streams at 80 MHz. The model knows neither TCP's answers nor RTS/CTS.
VARIANTS = [
    ("802.11ac", 7, "frames of 64 KiB", 42, 454.3),
    ("802.11ac", 7, "no aggregation", 1, 54.0),
    ("802.11ax", 9, "frames of 64 KiB", 42, 647.5),
    ("802.11ax", 9, "no aggregation", 1, 53.7),
    ("802.11ac", 7, "RTS/CTS, held against none", 0, 460.2),
    ("802.11ax", 9, "RTS/CTS, held against none", 0, 837.4),
    ("802.11ac", 7, "TCP, held against UDP", 0, 408.1),
    ("802.11ax", 9, "TCP, held against UDP", 0, 737.9),
]

# Amendment, MCS: one hop, and peaks over two, three and four, Mb/s; all hear all.
CHAINS = [
    ("802.11ac", 4, 306.9, (145.0, 91.8, 65.6)),
    ("802.11ac", 7, 485.7, (230.8, 145.1, 102.5)),
    ("802.11ax", 9, 859.2, (388.4, 241.7, 178.5)),
]

# Shares of one hop that other kinds of traffic reach at 802.11ac MCS 7 over two and three hops.
OTHER_TRAFFIC = [
    ("TCP, one flow", (0.472, 0.296)),
    ("source far over what the path carries", (0.476, 0.287)),
    ("the same, frames of 64 KiB", (0.460, 0.295)),
    ("the same, RTS/CTS", (0.499, 0.292)),
]

# Neighbours at -50 dBm, two hops away at -74 dBm, nothing beyond: share of one hop, peak and with a
# source that sends without restraint, 802.11ac MCS 7.
REUSE = {3: (0.320, 0.340), 4: (0.260, 0.260), 5: (0.235, 0.160), 6: (0.218, 0.180)}

# Bianchi 2000, FHSS: contenders, saturation throughput basic and RTS/CTS, window 32, 3 doublings
# (worked out from the paper's formulas and parameters, which were from memory).
BIANCHI = [(5, 0.8097, 0.8342), (10, 0.7532, 0.8371), (20, 0.6788, 0.8356), (50, 0.5529, 0.8270)]

# Jun and Sichitiu 2003: loads at the bottleneck of a chain of n nodes, links conflict two apart.
JUN_SICHITIU = {5: 15, 8: 30, 10: 40}


def one_hop() -> list[Row]:
    """Return the rows of single hops: the worst of each amendment, then other ways to send."""
    rows = []
    for name in ("802.11n", "802.11ac", "802.11ax"):
        pairs = [
            (exchange(Mode(a, mcs, mhz, s), 5).goodput_mbps, theirs, f"MCS {mcs}, {s}x, {mhz} MHz")
            for a, mcs, s, mhz, theirs in ONE_HOP
            if a == name
        ]
        ours, theirs, what = max(pairs, key=lambda pair: abs(pair[0] / pair[1] - 1))
        rows.append((f"one hop, {name}, worst of {len(pairs)}: {what}", "Mb/s", theirs, ours))
    for name, mcs, what, frames, theirs in VARIANTS:
        ours = exchange(Mode(name, mcs, 80, 2), 5, most_frames=frames or None).goodput_mbps
        rows.append((f"one hop, {name} MCS {mcs}, {what}", "Mb/s", theirs, ours))
    return rows


def chains() -> list[Row]:
    """Return the rows of chains in which everyone hears everyone."""
    rows = []
    for name, mcs, single, peaks in CHAINS:
        hop = exchange(Mode(name, mcs, 80, 2), 5)
        for count, peak in enumerate(peaks, 2):
            share = path_goodput_mbps([hop] * count) / hop.goodput_mbps
            what = f"{count} hops on one channel, {name} MCS {mcs}"
            rows.append((what, "of one hop", peak / single, share))
    return rows


def other_traffic() -> list[Row]:
    """Return the rows of other traffic than well-tempered UDP."""
    hop = exchange(Mode("802.11ac", 7, 80, 2), 5)
    return [
        (
            f"{count} hops, {what}",
            "of one hop",
            share,
            path_goodput_mbps([hop] * count) / hop.goodput_mbps,
        )
        for what, shares in OTHER_TRAFFIC
        for count, share in enumerate(shares, 2)
    ]


def reuse() -> list[Row]:
    """Return the rows of long chains in which air can be used twice."""
    hop = exchange(Mode("802.11ac", 7, 80, 2), 5)
    rows = []
    for count, (peak, overload) in REUSE.items():
        pairs = {(i, j) for i in range(count) for j in range(i + 1, count) if j - i <= 3}
        floor, ceiling = path_mbps([Hop(hop.goodput_mbps, hop)] * count, pairs)
        rows.append(
            (f"{count} hops with reuse, peak", "of one hop", peak, ceiling / hop.goodput_mbps)
        )
        rows.append(
            (
                f"{count} hops with reuse, overload against the careful estimate",
                "of one hop",
                overload,
                floor / hop.goodput_mbps,
            )
        )
    return rows


def published() -> list[Row]:
    """Return the rows of the papers."""
    rows = []
    for contenders, basic, protected in BIANCHI:
        for what, theirs, success, collision in (
            ("basic", basic, 8982, 8713),
            ("RTS/CTS", protected, 9568, 417),
        ):
            ours = saturation(contenders, Turn(8184, success, collision, 50), 32, 3)
            rows.append(
                (f"Bianchi 2000, {contenders} contenders, {what}", "of 1 Mb/s", theirs, ours)
            )
    for nodes, loads in JUN_SICHITIU.items():
        links = range(1, nodes + 1)
        near = {str(i): [str(j) for j in links if abs(i - j) <= 2] for i in links}
        full = bottleneck({str(i): float(nodes + 1 - i) for i in links}, near)[1]
        rows.append((f"Jun and Sichitiu 2003, chain of {nodes} nodes", "loads", loads, full))
    hop = exchange(Mode("802.11ac", 7, 80, 2), 5)
    pairs = {(i, j) for i in range(8) for j in range(i + 1, 8) if j - i <= 3}
    ceiling = path_mbps([Hop(hop.goodput_mbps, hop)] * 8, pairs)[1] / hop.goodput_mbps
    rows.append(("Li et al. 2001, ideal long chain", "of one hop", 0.25, ceiling))
    return rows


def main() -> None:
    """Print the table."""
    print("| figure | unit | theirs | ours | off |")
    print("|---|---|---|---|---|")
    for what, unit, theirs, ours in (
        *one_hop(),
        *chains(),
        *other_traffic(),
        *reuse(),
        *published(),
    ):
        print(
            f"| {what} | {unit} | {theirs:.4g} | {ours:.4g} | {100 * (ours / theirs - 1):+.1f} % |"
        )


if __name__ == "__main__":
    main()
