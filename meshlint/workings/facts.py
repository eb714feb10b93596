"""What a package with facts of its own imports: all that a fact is declared and worked out with.

Inside meshlint, import from the modules that define these.
"""

from meshlint.workings.fact import STATED, Fact, FactValue, Kind, fact
from meshlint.workings.site_workings import Known, Subject, Workings
from meshlint.workings.unknown import Input, Missing, Unknown, known_of_any, need

__all__ = [
    "STATED",
    "Fact",
    "FactValue",
    "Input",
    "Kind",
    "Known",
    "Missing",
    "Subject",
    "Unknown",
    "Workings",
    "fact",
    "known_of_any",
    "need",
]
