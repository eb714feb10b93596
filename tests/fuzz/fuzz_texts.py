"""A coverage-guided fuzz target over reading alone: from bytes to a site, a policy, a card.

    python tests/fuzz/fuzz_texts.py CORPUS_FOLDER tests/fuzz/seeds -dict=tests/fuzz/words

Needs atheris. It judges nothing, and so tries some hundred times as many texts a second as
`fuzz_check.py`. An input whose first byte is 1 to 4 is, without it, read as a catalogue, a policy,
a card or an accepted list; no YAML file can begin with such a byte.
"""

from __future__ import annotations

import sys

import atheris

with atheris.instrument_imports(include=["meshlint", "yaml"]):
    from meshlint.lint import card as cards
    from meshlint.lint.policy import Policy
    from meshlint.run import shipped_rules
    from meshlint.site.build import build_site
    from meshlint.site.limits import Limits
    from meshlint.site.load import read_site
    from meshlint.site.problem import MOST_PROBLEMS, InputError, Problem
    from meshlint.site.schema import check
    from meshlint.site.source import read_document
    from meshlint.workings.catalogue import FACTS

RULES = shipped_rules()
LIMITS = Limits(bytes=20_000, depth=12, nodes=2_000, text=300, units=20, links=30)
KINDS = ("site", "catalogue", "policy", "card", "accepted")


def read(data: bytes, kind: str) -> None:
    """Read a text as what it is said to be, as far as anything goes that rests on it alone."""
    if kind == "site":
        document = read_site(data, "a", LIMITS)
        build_site(document, None, LIMITS)
        return
    document = read_document(data, "a", LIMITS)
    check(document, kind)
    if kind == "card":
        cards._Reader(document, FACTS, RULES.language).card()
    elif kind == "policy":
        policy = Policy(document)
        policy.problems(RULES)
        policy.settings("a.site.yaml", "branch")


def problems_of(data: bytes, kind: str) -> tuple[Problem, ...] | None:
    """Return the mistakes in a text, nothing where there is none."""
    try:
        read(data, kind)
    except InputError as error:
        return error.problems
    return None


def one_input(data: bytes) -> None:
    """Read one text; a mistake in it has its place within it."""
    kind = data[0] if data[:1] in {b"\1", b"\2", b"\3", b"\4"} else 0
    text = data[1:] if kind else data
    problems = problems_of(text, KINDS[kind])
    if problems is None:
        return
    lines = text.count(b"\n") + text.count(b"\r") + 1
    assert 1 <= len(problems) <= MOST_PROBLEMS + 1
    for problem in problems:
        assert 1 <= problem.place.line <= lines
        assert 1 <= problem.place.column <= len(text) + 1


def main() -> None:
    """Run until libFuzzer's own options say so."""
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
