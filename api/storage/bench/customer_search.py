"""Customer search storage: which customers have these words in name, address, number or pairs?

Each word must stand in the customer's own row or in one of the customer's pairs. Large and small
letters are alike. One statement finds a page of customers; the pairs and orders of a page are two
more.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = ["find_customers", "orders_of", "pairs_of", "with_ticket"]

_NAME = sa.func.coalesce(Wearer.name, Wearer.wearer_id)
_OWN = (Wearer.name, Wearer.email, Wearer.wearer_id)
_OF_PAIR = (Pair.label, Pair.pair_id, Pair.colour, Pair.maker)
_BETWEEN = " ()./-"
MOST_DIGITS = 7  # the end of a number is the same with and without its country
FEWEST_DIGITS = 3


def find_customers(
    session: Session,
    words: Sequence[str],
    digits: str,
    found: Collection[int],
    *,
    skip: int,
    most: int,
) -> list[dict[str, Any]]:
    """Return customers that have all words, or that are among `found`, by name.

    Parameters
    ----------
    words : sequence of str
        Without any, every customer is returned.
    digits : str
        Digits of a telephone number, in place of the words; empty = none.
    found : collection of int
        Numbers of wearers that are returned whatever the words, before the others.
    """
    query = sa.select(Wearer.id, Wearer.wearer_id, Wearer.name, Wearer.phone, Wearer.email)
    told = sa.and_(sa.true(), *(_has(word) for word in words))
    if digits:
        told = sa.or_(told, _digits().contains(digits[-MOST_DIGITS:]))
    first = Wearer.id.in_(found)
    if words:
        query = query.where(sa.or_(told, first) if found else told)
    order = (sa.case((first, 0), else_=1),) if found else ()
    query = query.order_by(*order, sa.func.lower(_NAME), Wearer.id).limit(most).offset(skip)
    return [dict(row) for row in session.execute(query).mappings()]


def with_ticket(session: Session, ticket: int) -> list[int]:
    """Return the numbers of wearers who have an order with this ticket."""
    query = (
        sa.select(Pair.wearer_pk)
        .join(BenchOrder, BenchOrder.pair_pk == Pair.id)
        .where(BenchOrder.ticket == ticket)
    )
    return list(session.execute(query).scalars())


def pairs_of(session: Session, wearer_pks: Collection[int], most: int) -> list[dict[str, Any]]:
    """Return pairs of some wearers, the newest first."""
    query = (
        sa.select(Pair.id, Pair.pair_id, Pair.label, Pair.wearer_pk)
        .where(Pair.wearer_pk.in_(wearer_pks))
        .order_by(Pair.id.desc())
        .limit(most)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def orders_of(session: Session, pair_pks: Collection[int]) -> list[dict[str, Any]]:
    """Return the open orders of some pairs."""
    columns = ("order_id", "ticket", "stage", "promised_on", "expected_on", "pair_pk")
    query = sa.select(*(getattr(BenchOrder, name) for name in columns)).where(
        BenchOrder.pair_pk.in_(pair_pks), BenchOrder.stage.in_(OPEN_STAGES)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def _has(word: str) -> sa.ColumnElement[bool]:
    """Say whether a word stands in a customer's row, or in a row of one of the pairs."""
    own = sa.or_(*(_in(column, word) for column in _OWN))
    digits = "".join(letter for letter in word if letter.isdigit())
    if len(digits) >= FEWEST_DIGITS and len(digits) == len(word.strip("+()./-")):
        own = sa.or_(own, _digits().contains(digits))
    of_pair = sa.exists().where(
        Pair.wearer_pk == Wearer.id, sa.or_(*(_in(column, word) for column in _OF_PAIR))
    )
    return sa.or_(own, of_pair)


def _in(column: Any, word: str) -> sa.ColumnElement[bool]:
    # SQLite makes only a to z small: other letters are looked for as typed, small and large
    spellings = {_small(text) for text in (word, word.lower(), word.upper(), word.title())}
    lower = sa.func.lower(column)
    return sa.or_(*(lower.contains(one, autoescape=True) for one in sorted(spellings)))


def _small(text: str) -> str:
    return "".join(letter.lower() if letter.isascii() else letter for letter in text)


def _digits() -> sa.ColumnElement[str]:
    bare: sa.ColumnElement[str] = sa.func.coalesce(Wearer.phone, "")
    for letter in _BETWEEN:
        bare = sa.func.replace(bare, letter, "")
    return bare
