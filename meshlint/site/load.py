"""A site file and the equipment file that it names, read, checked and built."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.site.build import build_site, sure_problems
from meshlint.site.files import STANDARD_INPUT, followed, inside_repository, read_bytes
from meshlint.site.limits import LIMITS, Limits
from meshlint.site.problem import InputError, Problem
from meshlint.site.quoting import repeatable_file
from meshlint.site.references import mapping
from meshlint.site.schema import check, refused_at
from meshlint.site.source import read_document
from meshlint.site.written_out import amended, written_out

if TYPE_CHECKING:
    from collections.abc import Callable

    from meshlint.site.model import Site
    from meshlint.site.problem import Place
    from meshlint.site.source import Document


class Catalogues:
    """Equipment files already read in this run, so that a fleet's shared one is read once.

    `read` gives a file's bytes: from disk, unless they are wanted as they were once.
    """

    def __init__(self, read: Callable[[Path, str], bytes] = read_bytes) -> None:
        self._bytes = read
        self._read: dict[Path, Document | InputError] = {}
        self.asked: set[Path] = set()
        """Files asked for since whoever wants to know last emptied this."""

    def at(self, path: Path, shown: str) -> Document:
        """Return the checked equipment file."""
        self.asked.add(path)
        known = self._read.get(path)
        if known is None:
            try:
                known = read_document(self._bytes(path, shown), shown)
                check(known, "catalogue")
                known = amended(known)
            except InputError as error:
                known = error
            self._read[path] = known
        if isinstance(known, InputError):
            raise known
        return known


def load_site(data: bytes, path: str, catalogues: Catalogues) -> tuple[Site, Document]:
    """Return the site that the bytes of a file describe, and the document with its places.

    `path` is the file's path as the caller knows it, or `-` for standard input. Raises
    `InputError`.
    """
    document = read_site(data, path, named=lambda said: catalogue_of(said, catalogues))
    return site_of(document, catalogues), document


def read_site(
    data: bytes,
    path: str,
    limits: Limits = LIMITS,
    named: Callable[[Document], Document | None] = lambda _: None,
) -> Document:
    """Return the document of a site file, checked and written out; raise `InputError`.

    `named` finds the catalogue of a document, whatever shape that has. It is asked only where the
    shape is wrong, so that wrong names are told in the same go and nobody mends a file twice.
    """
    document = read_document(data, path, limits)
    try:
        check(document, "site")
    except InputError as error:
        problems, catalogue = list(error.problems), None
        try:
            catalogue = named(document)
        except InputError as other:
            problems += other.problems
        sure = sure_problems(document, catalogue, refused_at(document, "site"))
        raise InputError.first([*problems, *sure]) from None
    return written_out(document)


def site_of(
    document: Document,
    catalogues: Catalogues,
    usual: tuple[str, Place] | None = None,
    limits: Limits = LIMITS,
) -> Site:
    """Return the site of a document under its catalogue; raise `InputError`.

    `usual` is as for `catalogue_of`.
    """
    return build_site(document, catalogue_of(document, catalogues, usual), limits)


def catalogue_of(
    document: Document, catalogues: Catalogues, usual: tuple[str, Place] | None = None
) -> Document | None:
    """Return the catalogue of a site's document, if it has one; raise `InputError`.

    `usual` is the catalogue for sites that name none and have no models of their own: a path, and
    the place of the file that it is relative to.
    """
    raw = mapping(document.value)
    own = raw.get("catalogue")
    if isinstance(own, str):
        place = document.place(("catalogue",))
        beside = Path("stdin" if document.path == STANDARD_INPUT else document.path)
        return _catalogue(own, beside, place, catalogues)
    if usual is not None and not {"catalogue", "models"} & raw.keys():
        path, place = usual
        return _catalogue(path, Path(place.path), place, catalogues)
    return None


def _plain(path: Path, target: Path) -> str:
    """Return a path without steps back, `kit.yaml` for `sites/../kit.yaml`, where it leads there.

    Across a link to a folder it does not, and the path stays as it was written.
    """
    plain = Path(os.path.normpath(path))
    return (plain if followed(plain) == target else path).as_posix()


def _catalogue(named: str, beside: Path, place: Place, catalogues: Catalogues) -> Document:
    target = inside_repository(beside, named, place)
    try:
        return catalogues.at(target, _plain(Path(beside.parent, named), target))
    except InputError as error:
        if all(problem.place.line == 1 == problem.place.column for problem in error.problems):
            # Nothing in that file is at fault but the file itself: say so where it is named too.
            reasons = "; ".join(problem.message for problem in error.problems)
            unsaid = f"this file: {reasons}"
            said = f"'{named}': {reasons}" if repeatable_file(named) else unsaid
            raise InputError([Problem(place, said, unsaid)]) from error
        raise
