"""Sites that an accepted list speaks of and that no file of the repository has any more.

That can be told only when a run has searched the whole repository and understood every file: a
hook is given some files, and a file that cannot be read may be the one.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from meshlint.lint.finding import SiteResult
from meshlint.lint.policy import find_policy, read_policy, shown_from_here
from meshlint.site.files import STANDARD_INPUT, followed, read_bytes, repository_of

if TYPE_CHECKING:
    from collections.abc import Generator, Iterable, Iterator


def and_gone_sites(results: Iterable[SiteResult], named: Iterable[str]) -> Generator[SiteResult]:
    """Yield the results, and after them one for each listed site that no file has any more.

    `named` are the files and folders that the run was asked for.
    """
    searched = folders_in(named)
    sites: dict[str, set[str]] = {}
    all_understood = True
    for result in results:
        yield result
        all_understood &= not (result.problems or result.fault)
        if searched and result.path != STANDARD_INPUT:
            sites.setdefault(os.path.dirname(result.path), set()).add(result.site)  # noqa: PTH120
    if searched and all_understood:
        yield from _gone(sites, searched)


def folders_in(named: Iterable[str]) -> tuple[Path, ...]:
    """Return the folders among what a run was asked for."""
    paths = (Path(name) for name in named if name != STANDARD_INPUT)
    return tuple(followed(path) for path in paths if path.is_dir())


def is_searched(policy: Path, searched: Iterable[Path]) -> bool:
    """Return whether the whole repository of a policy was searched."""
    repository = repository_of(policy)
    return any(repository.is_relative_to(folder) for folder in searched)


def _gone(sites: dict[str, set[str]], searched: tuple[Path, ...]) -> Iterator[SiteResult]:
    of_policy: dict[Path, set[str]] = {}
    for folder, names in sites.items():
        found = find_policy(Path(folder))
        if found is not None and is_searched(found, searched):
            of_policy.setdefault(found, set()).update(names)
    of_list: dict[Path, tuple[Path, set[str]]] = {}
    for found, names in of_policy.items():
        accepted = read_policy(found, shown_from_here(found)).accepted
        # Two policies may name one list, each in its own way.
        of_list.setdefault(followed(accepted), (accepted, set()))[1].update(names)
    if not of_list:
        return
    from meshlint.lint.accepted import read_accepted, sites_as_written

    for path, names in sorted(of_list.values()):
        if not os.path.lexists(path):
            continue
        written = sites_as_written(read_bytes(path, str(path)))
        if written is not None and written <= names:
            continue
        for site, entries in read_accepted(path, path.as_posix()).items():
            if site not in names and entries:
                yield SiteResult(path=path.as_posix(), site=site, vanished=entries, is_gone=True)
