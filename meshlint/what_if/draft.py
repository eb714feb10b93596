"""A file with some of the changes that are asked about, made one after the other in memory."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from meshlint.edits.proof import changed
from meshlint.edits.rewriting import Set, rewritten
from meshlint.site.references import mapping
from meshlint.site.source import read_document
from meshlint.what_if.outcome import Outcome, outcome

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.edits.proof import Changed, Judged
    from meshlint.edits.rewriting import Edit
    from meshlint.run import Checker, OpenSite
    from meshlint.site.references import Raw
    from meshlint.site.source import Pointer
    from meshlint.what_if.step import Step
    from meshlint.workings.site_workings import Workings


class Draft(Struct, frozen=True, eq=False):
    """The file after some steps; `first` is the file as it is, `known` what is found out so far."""

    checker: Checker
    first: Judged
    data: bytes
    opened: OpenSite
    steps: tuple[Step, ...] = ()
    known: tuple[Changed, Outcome] | None = None

    @classmethod
    def of(cls, checker: Checker, first: Judged) -> Draft:
        """Return the file as it is."""
        return cls(checker, first, first.data, first.opened)

    @property
    def w(self) -> Workings:
        """Return the workings of the file so far."""
        return self.opened.workings

    @property
    def raw(self) -> Raw:
        """Return the file's own value so far."""
        return mapping(read_document(self.data, self.first.path).value)

    @property
    def edits(self) -> tuple[Edit, ...]:
        """Return all edits so far."""
        return tuple(edit for step in self.steps for edit in step.edits)

    def then(self, step: Step) -> Draft:
        """Return the file after one more step.

        Raises `RefusedError` where it cannot be written, and `InputError` where the file would not
        be sound.
        """
        step = replace(step, edits=tuple(_reaching(self.raw, step.edits)))
        data = rewritten(self.data, step.edits)
        opened = self.checker.open(data, self.first.path) if step.edits else self.opened
        return Draft(self.checker, self.first, data, opened, (*self.steps, step))

    def further(self, edits: tuple[Edit, ...], words: str) -> Draft:
        """Return the file after more edits of the last step, and more words of it."""
        if not edits:
            return self
        *before, last = self.steps
        rest = replace(self, steps=tuple(before)).then(replace(last, edits=edits))
        whole = replace(
            last, words=f"{last.words}{words}", edits=(*last.edits, *rest.steps[-1].edits)
        )
        return replace(rest, steps=(*before, whole))

    def judged(self) -> tuple[Changed, Outcome]:
        """Return the file with all that goes with the changes, judged, and what differs then."""
        if self.known is not None:
            return self.known
        done = changed(self.checker, self.first, self.edits)
        touched = {"/".join(map(str, edit.pointer[:4])) for edit in self.edits}
        return done, outcome(self.first, done.after, touched)


def _reaching(raw: Raw, edits: tuple[Edit, ...]) -> Iterator[Edit]:
    """Yield edits that can be made: a key in a map that is not there yet brings that map along.

    A radio of which only the model tells is such a map.
    """
    made: set[Pointer] = set()
    for edit in edits:
        there: object = raw
        for at, step in enumerate(edit.pointer[:-1]):
            if isinstance(there, dict) and step not in there and edit.pointer[: at + 1] not in made:
                made.add(edit.pointer[: at + 1])
                yield Set(edit.pointer[: at + 1], {})
            there = there.get(step, {}) if isinstance(there, dict) else None
        yield edit


def rank(found: Outcome, units: tuple[str, ...] = ()) -> tuple[int | float, ...]:
    """Return what to sort outcomes by, the best first, for people and then for some units."""
    ways = [found.ways[unit][1] for unit in units]
    mbps = [w.mbps for w in ways if w is not None and isinstance(w.mbps, float)]
    return (
        len(found.cannot_be),
        len(found.unlawful),
        len(found.cut_off),
        found.found("error"),
        sum(group.loses for group in found.groups),
        -float(f"{sum(mbps):.1g}"),
        found.found("warning"),
        sum(w.hops for w in ways if w is not None),
        found.found("note"),
    )
