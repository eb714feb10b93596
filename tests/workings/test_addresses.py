"""How many addresses a network wants, and which remedies can help (RFC 2131: leases)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.lint.finding import SiteResult

SITE = """\
meshlint: 1
site: {{name: Brook Street}}
primary: desk
units: {{desk: {{}}}}
networks: {{hall: {{for: {purpose}, addresses: {{pool: {pool}, lease_h: 24}}}}}}
clients: {{visitors: {{count: 120, near: desk, network: hall{turns}}}}}
"""


@pytest.mark.parametrize(
    ("purpose", "pool", "turns", "wanted", "remedy"),
    [
        (
            *("guests", 100, ", turns_per_day: 3", 360),
            "widen the pool to 360 and a fifth more, or lend addresses for 8 h at most and widen "
            "it to 120 and a fifth more.",
        ),
        (
            *("guests", 200, ", turns_per_day: 3", 360),
            "lend addresses for 8 h at most, or widen the pool to 360 and a fifth more.",
        ),
        ("staff", 100, "", 120, "widen the pool to 120 and a fifth more."),
        ("guests", 100, "", 120, "widen the pool to 120 and a fifth more."),
    ],
)
def test_the_whole_number_is_told_at_once_with_what_can_help(
    check_text: Callable[..., SiteResult],
    purpose: str,
    pool: int,
    turns: str,
    wanted: int,
    remedy: str,
) -> None:
    result = check_text(SITE.format(purpose=purpose, pool=pool, turns=turns))
    (found,) = (f for f in result.findings if f.rule == "enough-addresses")
    assert f"{wanted} are needed within one lease, and there are {pool}." in found.message
    assert found.remedy == f"So that there is one for everybody: {remedy}"
    assert ("It may be more" in found.message) == (purpose == "guests" and not turns)
