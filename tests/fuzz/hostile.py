"""Values that nobody should type, and somebody will: for command lines and for the cells of CSV files."""

from hypothesis import strategies as st

NUMBERS = (
    "0", "-0", "-1", "+1", "1.", ".5", "1e309", "-1e309", "1e-320", "NaN", "nan", "-nan", "inf", "-inf", "Infinity",
    "1,5", "1.234,5", "1,200", "1 000", "1_000", "0x10", "1e", "e1", "--1", "٣", "１２", "²", "½", "五",
    "1" + "0" * 400, "9" * 5000, "0." + "0" * 400 + "1", "1e99999999999999999999",
    "9223372036854775808", "-9223372036854775809",
)  # fmt: skip
"""Not numbers, barely numbers, and numbers that no field holds."""

DAYS = (
    "0000-00-00", "0001-01-01", "9999-12-31", "10000-01-01", "2026-02-30", "2026-13-01", "2025-02-29", "26-01-01",
    "2026-1-1", "2026-01-01T00:00", "20260101", "2026-W01-1", "01.02.2026", "1/2/26", "46023", "today",
    "２０２６-01-01", "2026-01-01\n", "1899-12-31", "1900-01-01", "-2026-01-01", "2026--01-01", "31/31/2026",
    "69999", "20000",
)  # fmt: skip

WORDS = (
    "", " ", "\t", "\n", "a\nb", "a\r\nb", "\x00", "a\x00b", "\x07", "\x1b[31mred\x1b[0m", "\x7f", "\x85", "\u2028x",
    "\ufeff", "\u200b", "\u202eabc", "שלום", "مرحبا", "🫖☕🧪", "e\u0301", "\u0301", "\U0010ffff", "\ud800", "a\udcff",
    "ﬃ", "İ", "x" * 81, "x" * 20_000, "é" * 5000, "../x", "..\\x", "..", ".", "./.", "a/b", "/", "~", "~root", "$HOME",
    "C:\\x", "CON", "nul", "-", "--", "---", "-1", "--no-such-option", "-x", "--json", "--help", "=1+1", "+1", "@x",
    "'=1+1", "''", "'", '"', '"a', 'a"b', ",", ";", "a,b", "a;b", "\\", "\\n", "%s%n", "{0}", "{}", "%(x)s",
    "'; DROP TABLE entry; --", "\" OR 1=1 --", "$(touch pwned)", "`touch pwned`", "; touch pwned", "| cat", "&& x",
    "<script>alert(1)</script>", "<b>", "&amp;", "]]>", "-->", "${jndi:x}", "null", "None", "true", "undefined", "[]",
    "9 dH", "9 °dH", "9 furlongs", "999999 dH", "60 F", "-500 C", "1-2", "2-1", "5+", "3+", "1-", "tap:", ":0.5",
    "tap:nan,demin:inf", "tap:0.5", "tap:0.5,tap:0.5", "tap:1e309,demin:1", "tap:-1,demin:2", "a:b:c", ",,",
    "grade=", "=2", "grade=1=2", "note=\x00", "boiler=x", "litres=NaN", "date=9999-12-31",
)  # fmt: skip
"""Texts of every awkward sort: blank, long, unprintable, foreign, of other languages' syntax, almost right."""

TEXTS = st.one_of(
    st.sampled_from(WORDS),
    st.sampled_from(NUMBERS),
    st.sampled_from(DAYS),
    st.text(max_size=12),
    st.text(st.characters(categories=["Cc", "Cf", "Cs", "Zl", "Zp", "Mn", "Nd", "Nl"]), max_size=4),
    st.builds("{}{}".format, st.floats() | st.integers(), st.sampled_from(["", " ", " dH", " C", "F", "%", "L"])),
    st.dates().map(str),
)
