"""What a text of each pattern in the schemas is, for people."""

from __future__ import annotations

FORMS = {
    "^auto$": "a channel number from 1 to 253, or auto",
    "^[1-9][0-9]{0,2}-[1-9][0-9]{0,2}$": "a 20 MHz channel such as 36, or a run such as 36-64",
    "^([A-Z]{2}|ETSI|FCC)$": "a country such as GB, or ETSI or FCC",
    "^[A-Z]{2}$": "two capital letters such as GB",
    "^(19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}$": "a date as year-month-day, such as 2026-09-14",
    "^[a-z]+(-[a-z]+)*$": "small letters and hyphens, such as hop-depth",
    "^[a-z][a-z0-9_]*$": "a name of small letters, digits and _, such as error_hops",
    "^[a-z_]+(\\.[a-z_]+)*$": "small letters, _ and dots, such as from_unit",
    "^[0-9]+\\.[0-9]+$": "a version of two numbers, in quotes, such as '1.0'",
    "^[0-9a-f]{20}$": "a fingerprint as `meshlint accept` writes it",
}
