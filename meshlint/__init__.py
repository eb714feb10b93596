"""A design-rule linter for Wi-Fi mesh sites."""

from __future__ import annotations

__version__ = "0.1.0"
