"""`meshlint explain`: all that a rule has to say."""

from __future__ import annotations

import difflib

import click

from meshlint.commands.arguments import RuleType
from meshlint.commands.opening import rules_here
from meshlint.lint.search import about
from meshlint.report.cards import explanation, listing
from meshlint.report.plain import visible
from meshlint.terminal import look, refuse


@click.command()
@click.argument("rule", type=RuleType(), metavar="RULE|WORD")
def command(rule: str) -> None:
    """Say what a rule wants, why, what it does not see, and who says so.

    Of a word of the trade it lists the rules that treat it. Rules of the repository's own are
    known where its meshlint.yaml is.

    \b
    Examples:
      meshlint explain backhaul-off-radar
      meshlint explain dfs
      meshlint explain quillbeck/unit-says-its-floor
    """
    rules = rules_here()
    known = {card.id: card for card in rules.cards}
    if rule not in known and (found := about(known.values(), rule)):
        click.echo(f"No rule is called {visible(rule)}. These treat it, closest first:\n")
        click.echo(listing(found), nl=False)
        return
    if rule not in known:
        near = difflib.get_close_matches(rule, known, 1)
        hint = f"; did you mean {near[0]}?" if near else "; `meshlint rules` lists all"
        refuse(f"there is no rule '{rule}'{hint}")
    click.echo(explanation(known[rule], rules, look(to_file=False).width), nl=False)
