"""Facts about secrets that stand in the file: how many and how long, never what they are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.workings.fact import STATED, Kind, fact

if TYPE_CHECKING:
    from meshlint.site.model import SecretFound, Site
    from meshlint.workings.site_workings import Workings


@fact("site.secrets_in_file", Kind.COUNT, "how many secrets stand in the file", source=STATED)
def secrets_in_file(_: Workings, site: Site) -> float:
    return len(site.secrets)


@fact("site.secret_places", Kind.TEXTS, "where they stand and how long they are", source=STATED)
def secret_places(_: Workings, site: Site) -> tuple[str, ...]:
    return tuple(f"{_where(secret)} ({secret.length} characters)" for secret in site.secrets)


def _where(secret: SecretFound) -> str:
    if secret.line is not None:
        return f"{secret.kind}, line {secret.line}"
    place = "/".join(map(str, secret.pointer))
    named = secret.pointer and secret.pointer[-1] == secret.kind
    return place if named else f"{secret.kind} at {place or 'the top'}"
