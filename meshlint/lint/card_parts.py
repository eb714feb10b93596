"""What a card is made of: its limits, what it adds, when it is graver, what it follows from."""

from msgspec import Struct

from meshlint.lint.expression import Expression
from meshlint.lint.finding import Severity
from meshlint.lint.template import Template


class Limit(Struct, frozen=True):
    """A number that a card compares with, and why it is what it is."""

    name: str
    default: float
    minimum: float
    maximum: float
    unit: str
    because: str


class Addition(Struct, frozen=True):
    """A sentence added to a message where its condition is known and true.

    `is_detail` keeps it from the short report: it is for who asks why.
    """

    condition: Expression
    says: Template
    is_detail: bool = False


class Raise(Struct, frozen=True):
    """A graver severity, and when it applies."""

    condition: Expression
    severity: Severity


class Follow(Struct, frozen=True):
    """A rule of which a finding makes one of this card a consequence: about whom, and when."""

    rule: str
    subject: str
    condition: Expression | None
