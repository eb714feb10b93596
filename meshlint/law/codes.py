"""Country codes of ISO 3166-1 (alpha-2).

The 249 codes officially assigned, taken from the PyPI package pycountry 26.2.16, which carries
Debian's iso-codes.
"""

from __future__ import annotations

COUNTRY_CODES = frozenset(
    {
        "AD", "AE", "AF", "AG", "AI", "AL", "AM", "AO", "AQ", "AR", "AS", "AT", "AU", "AW",
        "AX", "AZ", "BA", "BB", "BD", "BE", "BF", "BG", "BH", "BI", "BJ", "BL", "BM", "BN",
        "BO", "BQ", "BR", "BS", "BT", "BV", "BW", "BY", "BZ", "CA", "CC", "CD", "CF", "CG",
        "CH", "CI", "CK", "CL", "CM", "CN", "CO", "CR", "CU", "CV", "CW", "CX", "CY", "CZ",
        "DE", "DJ", "DK", "DM", "DO", "DZ", "EC", "EE", "EG", "EH", "ER", "ES", "ET", "FI",
        "FJ", "FK", "FM", "FO", "FR", "GA", "GB", "GD", "GE", "GF", "GG", "GH", "GI", "GL",
        "GM", "GN", "GP", "GQ", "GR", "GS", "GT", "GU", "GW", "GY", "HK", "HM", "HN", "HR",
        "HT", "HU", "ID", "IE", "IL", "IM", "IN", "IO", "IQ", "IR", "IS", "IT", "JE", "JM",
        "JO", "JP", "KE", "KG", "KH", "KI", "KM", "KN", "KP", "KR", "KW", "KY", "KZ", "LA",
        "LB", "LC", "LI", "LK", "LR", "LS", "LT", "LU", "LV", "LY", "MA", "MC", "MD", "ME",
        "MF", "MG", "MH", "MK", "ML", "MM", "MN", "MO", "MP", "MQ", "MR", "MS", "MT", "MU",
        "MV", "MW", "MX", "MY", "MZ", "NA", "NC", "NE", "NF", "NG", "NI", "NL", "NO", "NP",
        "NR", "NU", "NZ", "OM", "PA", "PE", "PF", "PG", "PH", "PK", "PL", "PM", "PN", "PR",
        "PS", "PT", "PW", "PY", "QA", "RE", "RO", "RS", "RU", "RW", "SA", "SB", "SC", "SD",
        "SE", "SG", "SH", "SI", "SJ", "SK", "SL", "SM", "SN", "SO", "SR", "SS", "ST", "SV",
        "SX", "SY", "SZ", "TC", "TD", "TF", "TG", "TH", "TJ", "TK", "TL", "TM", "TN", "TO",
        "TR", "TT", "TV", "TW", "TZ", "UA", "UG", "UM", "US", "UY", "UZ", "VA", "VC", "VE",
        "VG", "VI", "VN", "VU", "WF", "WS", "YE", "YT", "ZA", "ZM", "ZW",
    }
)  # fmt: skip

# Codes of the range that ISO 3166-1 leaves to its users, in use for a place that has no other: XK
# is Kosovo to the European Union and in the Unicode CLDR (from memory).
_IN_USE = frozenset({"XK"})

# Codes that people write and ISO 3166-1 reserves without assigning them, or that the European
# Union uses of its own (Interinstitutional style guide, 7.1.1; from memory).
_MEANT = {"UK": "GB", "EL": "GR"}


def known_country_code(code: str) -> bool:
    """Say whether a text is a country code, in capitals: an assigned one, or XK for Kosovo."""
    return code in COUNTRY_CODES or code in _IN_USE


def meant_country_code(code: str) -> str | None:
    """Return the code that a text that is none probably means, as `GB` for `uk`; else None."""
    capitals = code.strip().upper()
    likely = _MEANT.get(capitals, capitals)
    return likely if known_country_code(likely) and likely != code else None
