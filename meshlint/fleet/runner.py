"""Files to results, in the order of the files: from the cache, in this process, or in workers.

Nothing that happens with one file stops the others: what cannot be understood is told in its
result, a fault of the program too, and a file that takes its worker down with it is found and
named.
"""

from __future__ import annotations

import gc
import os
import sys
import zlib
from collections import deque
from functools import cache, cached_property
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

from msgspec import Struct, msgpack
from msgspec.structs import replace

from meshlint.lint.finding import NotJudged, SiteResult
from meshlint.site.files import (
    STANDARD_INPUT,
    read_bytes,
    read_standard_input,
    shown_name,
)
from meshlint.site.problem import InputError

if TYPE_CHECKING:
    from collections.abc import Generator, Iterable, Iterator
    from concurrent.futures import Future, ProcessPoolExecutor
    from datetime import date

    from meshlint.fleet.cache import Cache
    from meshlint.fleet.keys import Keys
    from meshlint.lint.choice import Choice
    from meshlint.lint.finding import Severity
    from meshlint.run import Checker

CHUNK = 16
"""Files that a worker is given at once: enough to outweigh the hand-over."""

_SAMPLE = 4
"""Files checked in this process before it is judged how long one takes."""

_WORTH_S = 0.4
"""Work that is left, in seconds for one process, from which on workers are worth their start."""


class CachedResult(Struct, frozen=True, array_like=True):
    """A result as workers hand it over and the cache keeps it, and the catalogues it rests on.

    What held and what was not judged makes up nine tenths of a result, and most reports only count
    it. It stands apart in `listing`, packed, and `result` holds the numbers.
    """

    result: SiteResult
    listing: bytes
    rests_on: tuple[tuple[str, bytes], ...] = ()

    def whole(self) -> SiteResult:
        """Return the result with everything listed; a damaged one raises, also `zlib.error`."""
        held, not_judged = _listing_decoder().decode(zlib.decompress(self.listing))
        return replace(self.result, held=held, not_judged=not_judged, unlisted=(0, 0))


def entry_of(result: SiteResult, rests_on: tuple[tuple[str, bytes], ...] = ()) -> CachedResult:
    """Return the entry of a result in which everything is listed."""
    listing = zlib.compress(msgpack.encode((result.held, result.not_judged)), 1)
    numbers = len(result.held), len(result.not_judged)
    return CachedResult(
        replace(result, held=(), not_judged=(), unlisted=numbers), listing, rests_on
    )


class Orders(Struct, frozen=True):
    """How all files of a run are checked."""

    today: date
    fail_at: Severity | None = None
    workers: int | None = None
    """At most so many processes; as many as there are processors unless stated."""
    apart: bool = False
    """Whether findings of one cause are told one by one."""
    listing: bool = True
    """Whether what held and what was not judged is wanted, and not only how much of it."""
    choice: Choice | None = None
    """Which rules are looked at, where not all."""
    usual: bool = True
    """Whether what is open for lack of input is judged by usual ranges as well."""
    advise: bool = False
    """Whether changes are looked for that are proven to mend what was found."""
    verdicts: bool = False
    """Whether what became of each rule for each subject is wanted, one by one."""
    standard_input_as: str = STANDARD_INPUT
    """The file that standard input stands for: its place decides on policy and catalogue."""


Job = tuple[str, bytes]


class _Pending(Struct):
    """A file on its way: its result is there, or stands in what a worker has been given."""

    path: str
    key: bytes | None = None
    result: SiteResult | None = None
    chunk: _Chunk | None = None
    position: int = 0


class _Chunk:
    """Files that go to a worker together."""

    def __init__(self) -> None:
        self.jobs: list[Job] = []
        self.future: Future[list[bytes]] | None = None
        self.refused = False
        """Whether no worker could be started for it."""
        self.entries: list[CachedResult] | None = None

    def begin(self, pool: ProcessPoolExecutor, orders: Orders) -> None:
        """Hand the files over."""
        from concurrent.futures.process import BrokenProcessPool

        try:
            self.future = pool.submit(_checked_in_worker, orders, self.jobs)
        except BrokenProcessPool:
            self.future = None
        except OSError:  # the machine has no process to spare
            self.future, self.refused = None, True

    def done(self) -> list[CachedResult] | None:
        """Wait for the results; `None` where the worker died."""
        from concurrent.futures.process import BrokenProcessPool

        try:
            return [_decoder().decode(e) for e in self.future.result()] if self.future else None
        except BrokenProcessPool:
            return None


def results_of(
    paths: Iterable[str], orders: Orders, keys: Keys | None = None, kept: Cache | None = None
) -> Generator[SiteResult]:
    """Yield the result of each file, in the order given.

    With `keys` and `kept`, what the cache holds is taken from there, and what is new is put there.
    """
    waiting = list(paths)
    run = _FleetRun(orders, len(waiting), keys, kept)
    try:
        yield from run.results(waiting)
    except BaseException:  # Ctrl-C, a signal to end, or a reader of the results that has enough
        run.stop()
        raise
    finally:
        run.close()


class _FleetRun:
    """One pass over the files; at most a window of them is in memory."""

    def __init__(self, orders: Orders, files: int, keys: Keys | None, kept: Cache | None) -> None:
        self._orders = orders
        self._left = files
        self._keys = keys
        self._kept = kept
        self._processors = min(orders.workers or _processors(), max(1, files // CHUNK))
        self._pool: ProcessPoolExecutor | None = None
        self._slots: deque[_Pending] = deque()
        self._chunk = _Chunk()
        self._spent_s = 0.0
        self._checked_here = 0

    @cached_property
    def _checker(self) -> Checker:
        return _new_checker(self._orders)

    def results(self, paths: list[str]) -> Iterator[SiteResult]:
        window = 4 * CHUNK * self._processors
        for path in paths:
            self._slots.append(self._begun(path))
            self._left -= 1
            while self._slots and (self._slots[0].result is not None or len(self._slots) >= window):
                yield self._finished(self._slots.popleft())
        self._submit()
        while self._slots:
            yield self._finished(self._slots.popleft())

    def stop(self) -> None:
        """End the workers now: whoever asked has no use for what they still do."""
        import multiprocessing

        for child in multiprocessing.active_children():
            child.terminate()

    def close(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def _begun(self, path: str) -> _Pending:
        try:
            if path == STANDARD_INPUT:
                data = read_standard_input()
                path = self._orders.standard_input_as
            else:
                data = read_bytes(Path(path), path)
            slot = _Pending(path)
        except InputError as error:
            slot = _Pending(path)
            slot.result = SiteResult(path=shown_name(path), problems=error.problems)
            return slot
        if self._keys is not None and self._kept is not None:
            slot.key = self._keys.of(path, data)
            if slot.key is not None:
                slot.result = self._remembered(slot.key)
                if slot.result is not None:
                    return slot
        if self._pool is None and self._worth_workers():
            self._pool = _pool(self._processors)
        if self._pool is None:
            begun = perf_counter()
            result, rests_on = _checked(self._checker, path, data, self._orders)
            self._spent_s += perf_counter() - begun
            self._checked_here += 1
            if slot.key is not None:
                self._keep(slot.key, entry_of(result, rests_on))
            slot.result = result
            return slot
        slot.chunk, slot.position = self._chunk, len(self._chunk.jobs)
        self._chunk.jobs.append((path, data))
        if len(self._chunk.jobs) == CHUNK:
            self._submit()
        return slot

    def _worth_workers(self) -> bool:
        if self._processors <= 1 or self._checked_here < _SAMPLE:
            return False
        return self._spent_s / self._checked_here * self._left > _WORTH_S

    def _submit(self) -> None:
        chunk, self._chunk = self._chunk, _Chunk()
        if chunk.jobs and self._pool is not None:
            chunk.begin(self._pool, self._orders)

    def _finished(self, slot: _Pending) -> SiteResult:
        if slot.result is not None:
            return slot.result
        chunk = slot.chunk
        assert chunk is not None
        if chunk is self._chunk:
            self._submit()
        if chunk.entries is None:
            if chunk.refused:
                chunk.entries = _entries(self._checker, chunk.jobs, self._orders)
            else:
                chunk.entries = chunk.done() or self._one_by_one(chunk.jobs)
        entry = chunk.entries[slot.position]
        self._keep(slot.key, entry)
        return entry.whole() if self._orders.listing else entry.result

    def _one_by_one(self, jobs: list[Job]) -> list[CachedResult]:
        """Check the files of a chunk whose worker died, each in a process that it may take down."""
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = _pool(self._processors)
        entries = []
        for path, data in jobs:
            with _pool(1) as lone:
                chunk = _Chunk()
                chunk.jobs.append((path, data))
                chunk.begin(lone, self._orders)
                entries += chunk.done() or [_crashed(path)]  # never here what killed a worker
        return entries

    def _remembered(self, key: bytes) -> SiteResult | None:
        assert self._kept is not None
        assert self._keys is not None
        kept = self._kept.get(key)
        if kept is None:
            return None
        try:
            entry = _decoder().decode(kept)
            if any(self._keys.content(path) != content for path, content in entry.rests_on):
                return None
            return entry.whole() if self._orders.listing else entry.result
        except (ValueError, TypeError, zlib.error):
            return None

    def _keep(self, key: bytes | None, entry: CachedResult) -> None:
        if key is None or self._kept is None or self._keys is None:
            return
        if entry.result.problems or entry.result.fault:
            return  # what is wrong may lie outside of what the key is made of
        contents = {path: self._keys.content(path) for path, _ in entry.rests_on}
        rests_on = tuple((path, content) for path, content in contents.items() if content)
        if len(rests_on) == len(contents):
            self._kept.put(key, msgpack.encode(replace(entry, rests_on=rests_on)))


def _crashed(path: str) -> CachedResult:
    words = "the process that checked this file was ended from outside or crashed"
    return entry_of(SiteResult(path=path, fault=words))


# Made when first wanted: a decoder takes 2 ms, and a run without a cache or workers wants none.
@cache
def _decoder() -> msgpack.Decoder[CachedResult]:
    return msgpack.Decoder(CachedResult)


@cache
def _listing_decoder() -> msgpack.Decoder[tuple[tuple[str, ...], tuple[NotJudged, ...]]]:
    return msgpack.Decoder(tuple[tuple[str, ...], tuple[NotJudged, ...]])


def _new_checker(orders: Orders) -> Checker:
    from meshlint.run import Checker

    return Checker(
        orders.today,
        orders.fail_at,
        apart=orders.apart,
        choice=orders.choice,
        usual=orders.usual,
        verdicts=orders.verdicts,
    )


@cache
def _checker(orders: Orders) -> Checker:
    """Return a worker's checker, which lives as long as the worker does."""
    return _new_checker(orders)


def _checked_in_worker(orders: Orders, jobs: list[Job]) -> list[bytes]:
    return [msgpack.encode(entry) for entry in _entries(_checker(orders), jobs, orders)]


def _entries(checker: Checker, jobs: list[Job], orders: Orders) -> list[CachedResult]:
    return [entry_of(*_checked(checker, path, data, orders)) for path, data in jobs]


def _checked(
    checker: Checker, path: str, data: bytes, orders: Orders
) -> tuple[SiteResult, tuple[tuple[str, bytes], ...]]:
    """Return the result of a file and the catalogues that it rests on, their content left open."""
    checker.catalogues.asked.clear()
    try:
        result = checker.check(data, path)
        if orders.advise and result.open_findings:
            result = _advised(result, path, data, orders)
    except ModuleNotFoundError:
        raise  # the installation is not whole, whatever the file
    except Exception as error:
        if os.environ.get("MESHLINT_TRACE"):
            raise
        result = SiteResult(path=path, fault=f"{type(error).__name__}: {error}")
    return result, tuple((str(file), b"") for file in sorted(checker.catalogues.asked))


def _advised(result: SiteResult, path: str, data: bytes, orders: Orders) -> SiteResult:
    """Return a result with advice, which is held to all rules, whichever were chosen."""
    from meshlint.edits.advice import advised

    return advised(_new_checker(replace(orders, choice=None)), data, path, result)


def _processors() -> int:
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _pool(workers: int) -> ProcessPoolExecutor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # Where it is safe, a worker starts as a copy of this process, with the cards already read.
    # What is there by now stays, so no worker need go through it, and copy it, to find garbage.
    gc.freeze()
    method = "fork" if sys.platform == "linux" else "spawn"
    return ProcessPoolExecutor(workers, multiprocessing.get_context(method), _undisturbed)


def _undisturbed() -> None:
    """Leave Ctrl-C to the parent, which ends the workers in its own time, and end with it.

    A signal to end means this process alone here: there is nothing that it would have to clear up.
    """
    import signal
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Wait until the parent is gone, whatever ended it, and end this process then and there.

    A worker that waits for files would otherwise wait for good.
    """
    import multiprocessing
    from multiprocessing.connection import wait

    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
