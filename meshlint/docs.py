"""Generated parts of the project's pages: the rule table, facts, and what commands really print.

`python -m meshlint.docs` rewrites what stands between the markers of the pages below, the pack of
the shipped cards and the index of facts; with `--check` it only says whether any page would change.
Run it in the checkout.
"""

from __future__ import annotations

import argparse
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meshlint.packs import written
from meshlint.run import shipped_rules
from meshlint.workings.catalogue import FACTS
from meshlint.workings.subjects import SCOPES

if TYPE_CHECKING:
    from collections.abc import Iterator

Schema = dict[str, Any]

PAGES = ("README.md", "rules/README.md", "rules/FACTS.md", "schemas/README.md")

SITE_SCHEMA = "schemas/site.schema.json"

_RULE_EXAMPLES = re.compile(
    r'("description": "Name of the rule,[^\n]*\n[^\n]*\n *"examples": )\[[^]]*\]'
)

_PART = re.compile(r"(<!-- begin: (.+?) -->\n).*?(<!-- end -->)", re.DOTALL)


def rule_table() -> str:
    """Return the rules as a Markdown table."""
    rows = ["| rule | about | severity | what holds where it is kept |", "|---|---|---|---|"]
    for card in shipped_rules().cards:
        others = {step.severity for step in card.raises} - {card.severity}
        severity = " or ".join([card.severity, *sorted(others)])
        rows.append(f"| `{card.id}` | {card.about} | {severity} | {card.title} |")
    return "\n".join(rows) + "\n"


def fact_tables() -> str:
    """Return the declared facts as Markdown tables, one for each kind of subject."""
    lines = []
    for scope in SCOPES.values():
        lines += ["", f"## {scope.name}", "", f"{scope.meaning[:1].upper()}{scope.meaning[1:]}."]
        if scope.anchors:
            lines += ["", f"A card may point at: {', '.join(f'`{a}`' for a in scope.anchors)}."]
        lines += ["", "| fact | unit | meaning | source |", "|---|---|---|---|"]
        lines += [
            f"| `{f.qualified}` | {f.unit or f.kind.value} | {f.meaning} | {f.source} |"
            for f in FACTS.values()
            if f.scope == scope.name
        ]
    return "\n".join([*lines, "", ""])


def key_tables() -> str:
    """Return the keys of a site file as Markdown tables, one for each section."""
    schema = json.loads(Path(SITE_SCHEMA).read_text(encoding="utf-8"))

    def rows(part: Schema, path: str, seen: tuple[str, ...]) -> Iterator[str]:
        reference = part.get("$ref", "")
        if reference in seen:
            return
        if reference:
            seen, part = (
                (*seen, reference),
                {**schema["$defs"][reference.rsplit("/", 1)[1]], **part},
            )
        if "description" in part and not path.endswith("*"):
            words = part["description"].replace("|", "\\|")
            yield f"| `{path}` | {words} |"
        for key, entry in part.get("properties", {}).items():
            yield from rows(entry, f"{path}.{key}", seen)
        for inner in (part.get("additionalProperties"), part.get("items")):
            if isinstance(inner, dict):
                yield from rows(inner, f"{path}.*", seen)

    lines: list[str] = []
    for section, part in schema["properties"].items():
        lines += ["", f"## {section}", "", "| key | what it says |", "|---|---|"]
        lines += rows(part, section, ())
    return "\n".join([*lines, "", ""])


def output_of(command: str) -> str:
    """Return what a `meshlint ...` command prints, as a fenced block under its own prompt."""
    words = shlex.split(command)
    done = subprocess.run(  # noqa: S603 - commands that stand in our own pages
        [sys.executable, "-m", *words], capture_output=True, text=True, check=False
    )
    if done.returncode > 1:  # not understood, or a fault: nothing that a page should show
        sys.exit(f"{command} ended with exit status {done.returncode}: {done.stdout}{done.stderr}")
    return f"```console\n$ {command}\n{done.stdout}{done.stderr}```\n"


def file_block(path: str) -> str:
    """Return a file's text as a fenced block."""
    return f"```yaml\n{Path(path).read_text(encoding='utf-8')}```\n"


def refreshed(page: str) -> str:
    """Return a page's text with every generated part made anew."""

    def made(match: re.Match[str]) -> str:
        name = match[2]
        kind, _, rest = name.partition(" ")
        body = {
            "rules": lambda _: rule_table(),
            "facts": lambda _: fact_tables(),
            "keys": lambda _: key_tables(),
            "file": file_block,
            "run": output_of,
        }[kind](rest)
        return f"{match[1]}{body}{match[3]}"

    return _PART.sub(made, page)


def site_schema(text: str) -> str:
    """Return the schema of site files with the names of rules that a waiver may have."""
    rules = shipped_rules()
    names = (
        card.id
        for card in rules.cards
        if (card.waivable or card.milder_waivable) and card.id not in rules.of_fleets
    )
    rows = "".join(f'\n            "{name}",' for name in names).removesuffix(",")
    return _RULE_EXAMPLES.sub(lambda found: f"{found[1]}[{rows}\n          ]", text)


def main() -> None:
    """Rewrite what is generated, or with `--check` exit 1 if any of it is out of date."""
    words = argparse.ArgumentParser(prog="python -m meshlint.docs", description=__doc__)
    words.add_argument("--check", action="store_true", help="change nothing; exit 1 if it would")
    check = words.parse_args().check
    stale = []
    if not check:
        list(written())
    for name in (SITE_SCHEMA, *PAGES):
        path = Path(name)
        old = path.read_text(encoding="utf-8")
        new = site_schema(old) if name == SITE_SCHEMA else refreshed(old)
        if new != old:
            stale.append(name)
            if not check:
                path.write_text(new, encoding="utf-8")
    if stale and check:
        sys.exit(f"out of date: {', '.join(stale)}; run python -m meshlint.docs")


if __name__ == "__main__":
    main()
