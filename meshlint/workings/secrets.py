"""Facts about secrets that stand in the file: how many and how long, never what they are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.facts import STATED, Kind, Workings, fact

if TYPE_CHECKING:
    from meshlint.site.model import Site


@fact("site.secrets_in_file", Kind.COUNT, "how many secrets stand in the file", source=STATED)
def secrets_in_file(_: Workings, site: Site) -> float:
    return len(site.secrets)


@fact("site.secret_places", Kind.TEXTS, "where they stand and how long they are", source=STATED)
def secret_places(_: Workings, site: Site) -> tuple[str, ...]:
    return tuple(
        f"{'/'.join(map(str, secret.pointer))} ({secret.length} characters)"
        for secret in site.secrets
    )


FACTS = (secrets_in_file, secret_places)
