"""The tables, as SQLModel describes them. The schema itself is made by :mod:`quarantine.records.migrations`, which
compares what it made with these models before it commits; a test compares kinds and links as well. `check` walks
them. A plain write names its table without importing this page (see :func:`quarantine.records.store._named`).

Every id is a uuid made where the row is made. Instants are fixed-width UTC text, days ISO text, amounts exact
decimal text: the same on SQLite and PostgreSQL. Facts, volumes, copies, acknowledgements, sign-offs, movements,
absences, closures, roles and the journal are append-only, by triggers.
"""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any, ClassVar

from sqlalchemy import Dialect, Text
from sqlalchemy.types import TypeDecorator
from sqlmodel import Field, MetaData, SQLModel

from quarantine.records.codec import canonical, instant, plain

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class _ExactText(TypeDecorator[Any]):
    """A value as exact text: SQLModel alone would store a Decimal as REAL on SQLite."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:
        return plain(value)


class AmountText(_ExactText):
    """A Decimal as its own text."""

    cache_ok = True

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        return None if value is None else Decimal(value)


class InstantText(_ExactText):
    """An aware datetime as fixed-width UTC text."""

    cache_ok = True

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        return None if value is None else instant(value)


class DayText(_ExactText):
    """A calendar day as YYYY-MM-DD."""

    cache_ok = True

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        return None if value is None else date.fromisoformat(value)


class JsonText(_ExactText):
    """A document as canonical JSON text."""

    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:
        return value if value is None or isinstance(value, str) else canonical(plain(value))


class _Row(SQLModel):
    metadata: ClassVar[MetaData] = SQLModel.metadata
    id: str = Field(primary_key=True, sa_type=Text)


class Keeper(_Row, table=True):
    """A person. The name stays outside the journal, so that it can be erased without breaking the chain."""

    name: str = Field(sa_type=Text)


class Site(_Row, table=True):
    name: str = Field(sa_type=Text)
    zone: str = Field(sa_type=Text)


class System(_Row, table=True):
    name: str = Field(sa_type=Text)
    site: str = Field(sa_type=Text, foreign_key="site.id")


class Tank(_Row, table=True):
    name: str = Field(sa_type=Text)
    site: str = Field(sa_type=Text, foreign_key="site.id")
    system: str = Field(sa_type=Text, foreign_key="system.id")
    role: str = Field(sa_type=Text)
    water: str = Field(sa_type=Text)
    shape: str = Field(sa_type=JsonText)
    label_litres: Decimal | None = Field(default=None, sa_type=AmountText)


class Volume(_Row, table=True):
    """Litres of water in a tank from an instant on, and how they were found."""

    tank: str = Field(sa_type=Text, foreign_key="tank.id")
    litres: Decimal = Field(sa_type=AmountText)
    plus_minus: Decimal = Field(sa_type=AmountText)
    method: str = Field(sa_type=Text)
    valid_from: datetime = Field(sa_type=InstantText)
    working: str = Field(sa_type=JsonText)
    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")


class Copy(_Row, table=True):
    """A frozen protocol text; its id is the SHA-256 of the text."""

    protocol: str = Field(sa_type=Text)
    revision: int
    title: str = Field(sa_type=Text)
    body: str = Field(sa_type=Text)


class Acknowledgement(_Row, table=True):
    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")
    copy_id: str = Field(sa_type=Text, foreign_key="copy.id")
    at: datetime = Field(sa_type=InstantText)


class Batch(_Row, table=True):
    name: str = Field(sa_type=Text)
    tank: str = Field(sa_type=Text, foreign_key="tank.id")
    system: str = Field(sa_type=Text, foreign_key="system.id")
    copy_id: str = Field(sa_type=Text, foreign_key="copy.id")
    arrived_at: datetime = Field(sa_type=InstantText)
    source: str = Field(sa_type=Text)
    destination: str | None = Field(default=None, sa_type=Text, foreign_key="tank.id")
    fish: str = Field(sa_type=JsonText)
    state: str = Field(sa_type=Text)
    closed_at: datetime | None = Field(default=None, sa_type=InstantText)
    standing: str = Field(sa_type=JsonText)


class Fact(_Row, table=True):
    kind: str = Field(sa_type=Text)
    system: str = Field(sa_type=Text, foreign_key="system.id")
    tank: str | None = Field(default=None, sa_type=Text, foreign_key="tank.id")
    batch: str | None = Field(default=None, sa_type=Text, foreign_key="batch.id")
    task: str | None = Field(default=None, sa_type=Text)
    happened_at: datetime = Field(sa_type=InstantText)
    entered_at: datetime = Field(sa_type=InstantText)
    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")
    data: str = Field(sa_type=JsonText)
    attempt: int | None = None
    """of an outcome: how many outcomes of its task were voided before it; empty for the first"""
    voids: str | None = Field(default=None, sa_type=Text)
    """the fact that this one takes back"""


class Task(_Row, table=True):
    key: str = Field(sa_type=Text)
    code: str = Field(sa_type=Text)
    system: str = Field(sa_type=Text, foreign_key="system.id")
    tank: str = Field(sa_type=Text, foreign_key="tank.id")
    batch: str = Field(sa_type=Text, foreign_key="batch.id")
    kind: str = Field(sa_type=Text)
    step: str = Field(sa_type=Text)
    title: str = Field(sa_type=Text)
    day: date | None = Field(default=None, sa_type=DayText)
    due_from: datetime | None = Field(default=None, sa_type=InstantText)
    due_until: datetime | None = Field(default=None, sa_type=InstantText)
    lapses_at: datetime | None = Field(default=None, sa_type=InstantText)
    state: str = Field(sa_type=Text)
    needs: str | None = Field(default=None, sa_type=Text)
    reason: str = Field(sa_type=Text)
    detail: str = Field(sa_type=JsonText)
    made_at: datetime = Field(sa_type=InstantText)
    outcome_at: datetime | None = Field(default=None, sa_type=InstantText)
    outcome_by: str | None = Field(default=None, sa_type=Text)
    outcome: str | None = Field(default=None, sa_type=JsonText)


class Signoff(_Row, table=True):
    batch: str = Field(sa_type=Text, foreign_key="batch.id")
    decision: str = Field(sa_type=Text)
    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")
    at: datetime = Field(sa_type=InstantText)
    deviation: str | None = Field(default=None, sa_type=Text)
    evidence: str = Field(sa_type=JsonText)
    seal: str = Field(sa_type=Text)


class Product(_Row, table=True):
    """A keeper's own product of a substance, as its label says it."""

    name: str = Field(sa_type=Text)
    substance: str = Field(sa_type=Text)
    """its id in the formulary"""
    form: str = Field(sa_type=Text)
    strength: str = Field(sa_type=Text)
    each: str | None = Field(default=None, sa_type=Text)
    """of a tablet: what is in one ("500 mg")"""
    unit: str = Field(sa_type=Text)
    """in which it is counted: g, mL or tablets"""
    step: Decimal | None = Field(default=None, sa_type=AmountText)
    """the smallest step that it is measured with, in its unit; empty: the settings'"""


class Lot(_Row, table=True):
    product: str = Field(sa_type=Text, foreign_key="product.id")
    number: str = Field(sa_type=Text)
    expires: str | None = Field(default=None, sa_type=Text)
    """the last good day or month, as the label has it"""
    opened_on: date | None = Field(default=None, sa_type=DayText)
    state: str = Field(sa_type=Text)


class Movement(_Row, table=True):
    """What came into a lot (above zero) or went out of it, in the product's unit."""

    lot: str = Field(sa_type=Text, foreign_key="lot.id")
    kind: str = Field(sa_type=Text)
    amount: Decimal = Field(sa_type=AmountText)
    happened_at: datetime = Field(sa_type=InstantText)
    entered_at: datetime = Field(sa_type=InstantText)
    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")
    fact: str | None = Field(default=None, sa_type=Text)
    """the dose that it was drawn for"""
    data: str = Field(sa_type=JsonText)


class Absence(_Row, table=True):
    """Days on which a keeper is away, the first and the last among them."""

    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")
    since: date = Field(sa_type=DayText)
    until: date = Field(sa_type=DayText)
    because: str = Field(sa_type=Text)
    entered_at: datetime = Field(sa_type=InstantText)
    entered_by: str = Field(sa_type=Text, foreign_key="keeper.id")
    voids: str | None = Field(default=None, sa_type=Text)
    """the absence that this row withdraws; such a row is none itself"""


class Closure(_Row, table=True):
    """Days on which a site is shut, the first and the last among them; of them only the weekdays named, if any."""

    site: str = Field(sa_type=Text, foreign_key="site.id")
    since: date = Field(sa_type=DayText)
    until: date = Field(sa_type=DayText)
    weekdays: str = Field(sa_type=Text)
    """ "sat,sun"; empty: every day"""
    what: str = Field(sa_type=Text)
    entered_at: datetime = Field(sa_type=InstantText)
    entered_by: str = Field(sa_type=Text, foreign_key="keeper.id")
    voids: str | None = Field(default=None, sa_type=Text)
    """the closure that this row withdraws; such a row is none itself"""


class Role(_Row, table=True):
    """What a keeper may do, from this entry on: the last row of a keeper rules."""

    keeper: str = Field(sa_type=Text, foreign_key="keeper.id")
    role: str = Field(sa_type=Text)
    entered_at: datetime = Field(sa_type=InstantText)
    entered_by: str = Field(sa_type=Text, foreign_key="keeper.id")


class Calendared(_Row, table=True):
    """What was last exported of a task: its id is the task's. A changed content raises the sequence by one."""

    sequence: int
    stamp: datetime = Field(sa_type=InstantText)
    content: str = Field(sa_type=Text)


TABLES = {
    str(model.__tablename__): model
    for model in (
        Keeper,
        Site,
        System,
        Tank,
        Volume,
        Copy,
        Acknowledgement,
        Batch,
        Fact,
        Task,
        Signoff,
        Product,
        Lot,
        Movement,
        Absence,
        Closure,
        Role,
        Calendared,
    )
}
"""In the order in which foreign keys want their rows."""
