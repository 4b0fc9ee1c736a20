"""How values are written: exact text, the same in tables and journal, on both engines."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from fishroom import MORNING, check, desk, dump, furnish
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import Session, select

from quarantine.actions import noting
from quarantine.failures import Refused
from quarantine.records import tables
from quarantine.records.codec import canonical, instant, plain, text_of_instant
from quarantine.records.store import open_store

AMOUNTS = [
    ("0.10", "0.10"),
    ("52.50", "52.50"),
    ("1E+3", "1000"),
    ("1E-12", "0.000000000001"),
    ("12345678901234567890.123456789", "12345678901234567890.123456789"),
    ("0.1000000000000000055511151231257827", "0.1000000000000000055511151231257827"),
]


@pytest.mark.parametrize(("amount", "written"), AMOUNTS)
def test_an_amount_is_its_own_text(amount: str, written: str) -> None:
    """No exponent, no float's tail, no digit lost or added."""
    assert plain(Decimal(amount)) == written
    assert Decimal(written) == Decimal(amount)


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**20), max_value=10**20))
def test_any_amount_comes_back_as_it_was(amount: Decimal) -> None:
    """Every finite Decimal survives the way through text."""
    assert Decimal(plain(amount)) == amount


@pytest.mark.parametrize("value", [0.1, float("nan"), {"a": 1.5}, [0.0], object(), b"x"])
def test_what_has_no_exact_text_is_refused(value: Any) -> None:
    """A float never reaches the record, however deep it sits."""
    with pytest.raises(TypeError, match="has no exact text"):
        plain(value)


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
def test_an_amount_that_is_no_number_is_refused(value: str) -> None:
    """An unknown amount is nothing or a word, never "NaN"."""
    with pytest.raises(ValueError, match="is not an amount"):
        plain(Decimal(value))


@given(
    st.datetimes(
        min_value=datetime(1900, 1, 1), timezones=st.sampled_from([UTC, timezone(timedelta(hours=5, minutes=45))])
    )
)
def test_any_instant_comes_back_in_utc_to_the_second(at: datetime) -> None:
    """Twenty characters, the zone applied, seconds kept."""
    text = text_of_instant(at)
    assert len(text) == 20
    assert instant(text) == at.replace(microsecond=0)


def test_an_instant_without_a_zone_is_refused() -> None:
    """A naive time would be another instant on another computer."""
    with pytest.raises(ValueError, match="needs a zone"):
        text_of_instant(datetime(2026, 2, 10, 12))


@given(st.lists(st.datetimes(min_value=datetime(1000, 1, 1)), min_size=2))
def test_instants_sort_as_their_texts_do(times: list[datetime]) -> None:
    """What the database sorts as text is sorted in time."""
    aware = [at.replace(tzinfo=UTC, microsecond=0) for at in times]
    assert [instant(t) for t in sorted(map(text_of_instant, aware))] == sorted(aware)


def test_every_kind_of_value_comes_back_exactly_from_the_tables(url: str) -> None:
    """Decimal, instant, day and document, written by an action and read by the models."""
    furnish(url)
    measured = datetime(2026, 3, 29, 3, 30, tzinfo=timezone(timedelta(hours=2)))
    words = {"b": ["½", "🐠", "a\nb", 'say "go"'], "a": {"z": None, "y": True, "x": 10**15}}
    store = open_store(url)
    with store.act(None, desk(url).now) as act:
        keeper, tank = act.rows("keepers")[0]["id"], act.rows("tanks")[0]
        for n, (amount, _) in enumerate(AMOUNTS):
            act.add(
                "volume",
                {
                    "id": f"v{n}",
                    "tank": tank["id"],
                    "litres": Decimal(amount),
                    "plus_minus": Decimal("0.10"),
                    "method": "counted",
                    "valid_from": measured,
                    "working": words,
                    "keeper": keeper,
                },
            )
        act.describe("volumes", "volumes for the test")
    with store._engine.connect() as connection, Session(connection) as session:
        found = session.exec(select(tables.Volume).where(tables.Volume.method == "counted")).all()
    store.close()
    by_id = {volume.id: volume for volume in found}
    for n, (amount, written) in enumerate(AMOUNTS):
        assert format(by_id[f"v{n}"].litres, "f") == written
        assert by_id[f"v{n}"].litres == Decimal(amount)
        assert by_id[f"v{n}"].valid_from == measured
        assert json.loads(by_id[f"v{n}"].working) == words
    assert str(by_id["v0"].plus_minus) == "0.10"
    raw = next(row for row in dump(url)["volume"] if row["id"] == "v0")
    assert (raw["litres"], raw["valid_from"]) == ("0.10", "2026-03-29T01:30:00Z")
    assert check(url)["faults"] == []


def test_a_day_is_stored_as_a_day() -> None:
    """YYYY-MM-DD, and back as a date."""
    column = tables.DayText()
    dialect: Any = None
    assert column.process_bind_param(date(2028, 2, 29), dialect) == "2028-02-29"
    assert column.process_result_value("2028-02-29", dialect) == date(2028, 2, 29)
    assert column.process_result_value(None, dialect) is None


def test_half_a_character_is_refused_in_a_sentence(url: str) -> None:
    """What a terminal could not decode is not written, and nothing with it."""
    furnish(url)
    before = dump(url)
    for note in ("caf\udce9", "\ud83d"):
        with pytest.raises(Refused, match="holds characters that cannot be read"):
            noting.look(desk(url, keeper=MORNING), "Q1 4 3", no_signs=True, note=note)
    assert dump(url) == before


# --- Canonical JSON, outside checks ---------------------------------------------------------------------

SORTED = (
    '{"\\u20ac":"Euro Sign","\\r":"Carriage Return","\\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One",'
    '"\\ud83d\\ude00":"Emoji: Grinning Face","\\u0080":"Control","\\u00f6":"Latin Small Letter O With Diaeresis"}'
)


def test_keys_stand_in_the_order_that_rfc_8785_prints() -> None:
    """IETF, JSON Canonicalization Scheme (JCS), RFC 8785, section 3.2.3, 2020 (from memory): the sorted example.

    Exact: an order has no tolerance. The emoji stands before the Hebrew letter: UTF-16 code units, not code points.
    """
    names = list(json.loads(canonical(json.loads(SORTED))).values())
    assert names == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def test_text_and_literals_are_written_as_rfc_8785_prints() -> None:
    """IETF, JSON Canonicalization Scheme (JCS), RFC 8785, sections 3.2.2 and 3.2.4, 2020 (from memory): the example
    without its numbers, which the record never holds. Exact, byte by byte.
    """
    source = json.loads(
        '{"string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/", "literals": [null, true, false]}'
    )
    literals = "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c"
    string = "22737472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    assert canonical(source).encode().hex() == literals + string


@pytest.mark.parametrize(
    ("character", "written"),
    [
        ("\b", '"\\b"'),
        ("\t", '"\\t"'),
        ("\n", '"\\n"'),
        ("\f", '"\\f"'),
        ("\r", '"\\r"'),
        ("\x00", '"\\u0000"'),
        ("\x1f", '"\\u001f"'),
        ("\x7f", '"\x7f"'),
        ("\u2028", '"\u2028"'),
    ],
)
def test_control_characters_are_written_as_rfc_8785_says(character: str, written: str) -> None:
    """IETF, JSON Canonicalization Scheme (JCS), RFC 8785, section 3.2.2.2, 2020 (from memory): two-letter escapes
    where there is one, lower-case hexadecimal below U+0020, everything else as it is. Exact.
    """
    assert canonical(character) == written


DOCUMENTS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), inner),
    max_leaves=20,
)


@given(DOCUMENTS)
def test_canonical_text_reads_back_and_is_a_fixed_point(document: Any) -> None:
    """Reading canonical text and writing it again gives the same text, whatever the order of the keys was."""
    text = canonical(document)
    assert json.loads(text) == document
    assert canonical(json.loads(text)) == text
