"""A repository's policy: `meshlint.yaml`, what it asks of its sites, and on which line it says so.

The nearest file upwards from a site holds alone. Within it, a block that fits a site overrides what
stands above it, setting by setting; a setting remembers its place, so that it can be shown.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from msgspec import Struct, field, structs
from msgspec.structs import replace

from meshlint.physics.phy import BY_AGE
from meshlint.site.files import (
    POLICY_NAME,
    followed,
    inside_repository,
    read_bytes,
    repository_around,
)
from meshlint.site.limits import LIMITS, Limits
from meshlint.site.problem import InputError, Place, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pathspec import GitIgnoreSpec

    from meshlint.lint.card import Card, Rulebook
    from meshlint.lint.finding import Severity
    from meshlint.site.model import Pointer
    from meshlint.site.source import Document

ACCEPTED_NAME = "meshlint-accepted.yaml"

Raw = dict[str, Any]


class CardFolder(Struct, frozen=True):
    """A folder of the repository's own cards, and the name that stands before theirs."""

    path: Path
    name: str
    place: Place


class RuleSetting(Struct, frozen=True):
    """How one rule is held; each part has the place that says so."""

    severity: tuple[Severity, Place] | None = None
    switched_off: tuple[str, Place] | None = None
    limits: Mapping[str, tuple[float, Place]] = field(default_factory=dict)


class Settings(Struct, frozen=True):
    """What a policy says about one site; empty where there is no policy."""

    fail_at: tuple[Severity, Place] | None = None
    catalogue: tuple[str, Place] | None = None
    usual: tuple[bool, Place] | None = None
    usual_ranges: tuple[tuple[Raw, Place], ...] = ()
    radars: tuple[tuple[Raw, Place], ...] = ()
    rules: Mapping[str, RuleSetting] = field(default_factory=dict)


class Policy:
    """A policy file that has been read; rules and limits in it are settled against the cards."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._raw = cast("Raw", document.value)
        self._settings: dict[tuple[int, ...], Settings] = {}
        self._patterns: dict[int, GitIgnoreSpec] = {}

    @property
    def path(self) -> str:
        """Return the file's path, as it is shown."""
        return self._document.path

    @property
    def folder(self) -> Path:
        """Return the folder that its patterns and paths are relative to."""
        return Path(self.path).parent

    @property
    def card_folders(self) -> tuple[CardFolder, ...]:
        """Return the folders of the repository's own cards; raise `InputError` at a bad one."""
        found: list[CardFolder] = []
        for position, entry in enumerate(self._raw.get("cards", ())):
            place = self._document.place(("cards", position, "folder"))
            if any(entry["name"] == other.name for other in found):
                at = self._document.place(("cards", position, "name"))
                raise InputError.at(at, f"two folders of cards are called '{entry['name']}'")
            folder = inside_repository(Path(self.path), entry["folder"], place)
            if not os.path.isdir(folder):  # noqa: PTH112 - never raises
                raise InputError.at(place, f"there is no folder '{entry['folder']}'")
            shown = Path(self.folder, entry["folder"])
            found.append(CardFolder(shown, entry["name"], place))
        return tuple(found)

    @property
    def facts(self) -> tuple[tuple[str, Place], ...]:
        """Return the names of the entry points whose facts are wanted."""
        return tuple(
            (name, self._document.place(("facts", position)))
            for position, name in enumerate(self._raw.get("facts", ()))
        )

    @property
    def accepted(self) -> Path:
        """Return the file of accepted findings, which need not be there."""
        if "accepted" not in self._raw:
            return self.folder / ACCEPTED_NAME
        named: str = self._raw["accepted"]
        inside_repository(Path(self.path), named, self._document.place(("accepted",)))
        return self.folder / named

    @property
    def accepted_place(self) -> Place | None:
        """Return where the policy names that file, `None` where it does not."""
        return self._document.place(("accepted",)) if "accepted" in self._raw else None

    @property
    def catalogues(self) -> tuple[Path, ...]:
        """Return the catalogues that the policy or its blocks name."""
        blocks = (self._raw, *self._raw.get("blocks", ()))
        named = dict.fromkeys(raw["catalogue"] for raw in blocks if "catalogue" in raw)
        return tuple(followed(self.folder / name) for name in named)

    @property
    def limits(self) -> Limits:
        """Return how much a site file may hold."""
        return structs.replace(LIMITS, **self._raw.get("file_limits", {}))

    def may_vary(self, site_class: str) -> tuple[str, ...]:
        """Return which values may differ between sites of the class."""
        return tuple(self._raw.get("siblings", {}).get(site_class, {}).get("may_vary", ()))

    def settings(self, site_path: str, site_class: str | None) -> Settings:
        """Return what holds for a site; all sites that the same blocks fit share one object."""
        fitting = tuple(
            position
            for position, block in enumerate(self._raw.get("blocks", ()))
            if self._fits(position, block, site_path, site_class)
        )
        known = self._settings.get(fitting)
        if known is None:
            pointers: list[Pointer] = [(), *(("blocks", position) for position in fitting)]
            known = self._settings[fitting] = self._merged(pointers)
        return known

    def problems(self, rules: Rulebook) -> tuple[Problem, ...]:
        """Return what the policy says of rules and limits that the cards do not have."""
        cards = {card.id: card for card in rules.cards}
        found = []
        blocks = self._raw.get("blocks", ())
        for position, block in enumerate(blocks):
            if ("sites" in block) == ("classes" in block):
                place = self._document.place(("blocks", position))
                words = "a block says either which `sites` or which `classes` it is for"
                found.append(Problem(place, words))
        pointers: list[Pointer] = [(), *(("blocks", position) for position in range(len(blocks)))]
        for pointer in pointers:
            for position, entry in enumerate(_at(self._raw, pointer).get("usual_ranges", ())):
                found += self._range_problems(entry, (*pointer, "usual_ranges", position))
            for name, setting in _at(self._raw, pointer).get("rules", {}).items():
                at = (*pointer, "rules", name)
                if name not in cards:
                    found.append(Problem(self._document.key_place(at), _unknown(name, cards)))
                else:
                    found += self._setting_problems(cards[name], setting, at)
        return tuple(found)

    def _range_problems(self, entry: Raw, at: Pointer) -> Iterator[Problem]:
        """Yield what is wrong with the three values of a usual range."""
        is_word = entry["input"].endswith(".generation")
        values = [entry[end] for end in ("low", "usual", "high")]
        for end in ("low", "usual", "high"):
            value, place = entry[end], self._document.place((*at, end))
            if is_word and value not in BY_AGE:
                yield Problem(place, f"expected one of {', '.join(BY_AGE)}, found {value}")
                return
            if not is_word and isinstance(value, str):
                yield Problem(place, f"expected a number, found '{value}'")
                return
        order = [BY_AGE.index(value) for value in values] if is_word else values
        if order != sorted(order):
            words = f"low, usual and high must go up, found {', '.join(map(str, values))}"
            yield Problem(self._document.place(at), words)

    def _setting_problems(self, card: Card, setting: Raw, at: Pointer) -> Iterator[Problem]:
        if "switched_off" in setting and not card.waivable:
            place = self._document.key_place((*at, "switched_off"))
            yield Problem(place, f"'{card.id}' is a rule that nobody may waive or switch off")
        if "severity" in setting and card.is_caution:
            place = self._document.place((*at, "severity"))
            yield Problem(place, f"'{card.id}' raises cautions, which have no severity")
        for name, number in setting.get("limits", {}).items():
            limit = card.limits.get(name)
            pointer = (*at, "limits", name)
            if limit is None:
                known = ", ".join(card.limits) or "none"
                words = f"'{card.id}' has no limit '{name}'; it has: {known}"
                yield Problem(self._document.key_place(pointer), words)
            elif not limit.minimum <= number <= limit.maximum:
                words = (
                    f"expected {name} from {limit.minimum:g} to {limit.maximum:g} {limit.unit}, "
                    f"as '{card.id}' declares, found {number:g}"
                )
                yield Problem(self._document.place(pointer), words)

    def _fits(self, position: int, block: Raw, site_path: str, site_class: str | None) -> bool:
        if "classes" in block:
            return site_class in block["classes"]
        try:
            below = followed(Path(site_path)).relative_to(followed(self.folder))
        except ValueError:
            return False
        return self._pattern(position, block).match_file(below.as_posix())

    def _pattern(self, position: int, block: Raw) -> GitIgnoreSpec:
        from meshlint.lint.patterns import LONGEST, patterns

        if not self._patterns:
            written = sum(len(block.get("sites", ())) for block in self._raw["blocks"])
            if written > (most := self.limits.patterns):
                words = f"the blocks have {written} patterns; at most {most} are read"
                raise InputError.at(self._document.key_place(("blocks",)), words)
        if position not in self._patterns:
            place = self._document.place(("blocks", position, "sites"))
            written = block.get("sites", ())
            if any(len(line) > LONGEST for line in written):
                raise InputError.at(place, f"a pattern has {LONGEST} characters at most")
            try:
                self._patterns[position] = patterns(written)
            except ValueError as error:
                raise InputError.at(place, f"this is no pattern: {error}") from error
        return self._patterns[position]

    def _merged(self, pointers: Iterable[Pointer]) -> Settings:
        merged = Settings()
        for pointer in pointers:
            raw = _at(self._raw, pointer)

            def placed(key: str, raw: Raw = raw, at: Pointer = pointer) -> Any:  # noqa: ANN401
                return raw[key], self._document.place((*at, key))

            if "fail_at" in raw:
                merged = replace(merged, fail_at=placed("fail_at"))
            if "catalogue" in raw:
                merged = replace(merged, catalogue=placed("catalogue"))
            if "usual" in raw:
                merged = replace(merged, usual=placed("usual"))
            radars, ranges = (
                tuple(
                    (entry, self._document.place((*pointer, key, position)))
                    for position, entry in enumerate(raw.get(key, ()))
                )
                for key in ("radars", "usual_ranges")
            )
            rules = dict(merged.rules)
            for name, setting in raw.get("rules", {}).items():
                at = (*pointer, "rules", name)
                rules[name] = self._rule(rules.get(name, RuleSetting()), setting, at)
            merged = replace(
                merged,
                rules=rules,
                radars=(*merged.radars, *radars),
                usual_ranges=(*ranges, *merged.usual_ranges),  # the first that fits counts
            )
        return merged

    def _rule(self, before: RuleSetting, raw: Raw, at: Pointer) -> RuleSetting:
        setting = before
        for key in ("severity", "switched_off"):
            if key in raw:
                placed = raw[key], self._document.key_place((*at, key))
                setting = replace(setting, **{key: placed})
        # A later block that sets a rule's severity or limits wants it judged.
        if "switched_off" not in raw:
            setting = replace(setting, switched_off=None)
        limits = {
            name: (float(number), self._document.key_place((*at, "limits", name)))
            for name, number in raw.get("limits", {}).items()
        }
        return replace(setting, limits={**setting.limits, **limits})


def find_policy(folder: Path) -> Path | None:
    """Return the nearest `meshlint.yaml` from the folder upwards, within the repository.

    Whatever bears that name counts: one that is no file is told when it is read, since a site whose
    policy cannot be read is held to nothing that anybody meant.
    """
    start = followed(folder)
    top = repository_around(start)
    for here in (start, *start.parents):
        candidate = here / POLICY_NAME
        if os.path.lexists(candidate):
            return candidate
        if here == top:
            break
    return None


def shown_from_here(policy: Path) -> str:
    """Return how a policy that was found is named: from the working directory where it is in it."""
    here = Path.cwd()
    return (policy.relative_to(here) if policy.is_relative_to(here) else policy).as_posix()


def read_policy(path: Path, shown: str) -> Policy:
    """Return the policy in a file; raise `InputError` where it is none."""
    # A run whose every result is in the cache reads no YAML where there is no policy.
    from meshlint.site.schema import check
    from meshlint.site.source import read_document

    document = read_document(read_bytes(path, shown), shown)
    check(document, "policy")
    return Policy(document)


def under_settings(rules: Rulebook, settings: Settings) -> Rulebook:
    """Return the rules as the settings hold them: severities, limits, some switched off."""
    if not settings.rules:
        return rules
    cards, off = [], []
    limits = dict(rules.limits)
    for card in rules.cards:
        setting = settings.rules.get(card.id, RuleSetting())
        if setting.switched_off is not None:
            off.append(card.id)
            continue
        if setting.limits:
            given = {name: number for name, (number, _) in setting.limits.items()}
            limits[card.id] = {**limits[card.id], **given}
        if setting.severity is not None:
            cards.append(replace(card, severity=setting.severity[0], raises=()))
        else:
            cards.append(card)
    return rules.with_cards(cards, limits, off)


def _unknown(name: str, cards: Iterable[str]) -> str:
    import difflib

    near = difflib.get_close_matches(name, cards, 1)
    hint = f"; did you mean {near[0]}?" if near else "; `meshlint rules` lists all"
    return f"there is no rule '{name}'{hint}"


def _at(value: Any, pointer: Pointer) -> Any:  # noqa: ANN401 - a checked document
    for step in pointer:
        value = value[step]
    return value
