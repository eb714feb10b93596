"""A day as an option takes it."""

from __future__ import annotations

from datetime import date

import click


class Day(click.ParamType):  # type: ignore[type-arg] # click below 8.4 has none
    """A day written as 2026-11-25."""

    name = "YYYY-MM-DD"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> date:
        """Return the day that the text names."""
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"expected a day such as 2026-11-25, found {value!r}", param, ctx)
