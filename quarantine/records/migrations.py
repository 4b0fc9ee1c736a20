"""Numbered migrations. The baseline makes an empty record; each later one takes a record one number further.

Every statement here is frozen once released: a record made by version 0.1 is upgraded by the same
statements forever. The SQL is portable; only the triggers differ by engine.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

APPEND_ONLY = (
    "journal", "fact", "volume", "copy", "acknowledgement", "signoff", "movement", "absence", "closure", "role",
)  # fmt: skip
"""Tables whose rows are never changed, never taken away: held by triggers."""


class Migration(NamedTuple):
    """One step of the schema."""

    number: int
    name: str
    statements: tuple[str, ...]
    sqlite: tuple[str, ...] = ()
    """run after the portable ones, on SQLite alone: what its ALTER TABLE cannot do"""
    postgresql: tuple[str, ...] = ()

    def on(self, dialect: str) -> tuple[str, ...]:
        """All its statements for one engine, in order."""
        return (*self.statements, *(self.sqlite if dialect == "sqlite" else self.postgresql))


BASELINE = (
    "create table meta (id text not null, value text not null, constraint pk_meta primary key (id))",
    """create table journal (id text not null, n integer not null, payload text not null,
        constraint pk_journal primary key (id), constraint uq_journal_n unique (n))""",
    """create table head (id integer not null, entry text not null, n integer not null,
        constraint pk_head primary key (id), constraint ck_head_one check (id = 1))""",
    "create table keeper (id text not null, name text not null, constraint pk_keeper primary key (id))",
    """create table site (id text not null, name text not null, zone text not null,
        constraint pk_site primary key (id))""",
    """create table system (id text not null, name text not null, site text not null,
        constraint pk_system primary key (id),
        constraint fk_system_site foreign key (site) references site (id))""",
    """create table tank (id text not null, name text not null, site text not null, system text not null,
        role text not null, water text not null, shape text not null, label_litres text,
        constraint pk_tank primary key (id),
        constraint fk_tank_site foreign key (site) references site (id),
        constraint fk_tank_system foreign key (system) references system (id),
        constraint ck_tank_role check (role in ('quarantine', 'display', 'holding', 'pond')),
        constraint ck_tank_water check (water in ('fresh', 'brackish', 'marine')))""",
    """create table volume (id text not null, tank text not null, litres text not null, plus_minus text not null,
        method text not null, valid_from text not null, working text not null, keeper text not null,
        constraint pk_volume primary key (id),
        constraint fk_volume_tank foreign key (tank) references tank (id),
        constraint fk_volume_keeper foreign key (keeper) references keeper (id))""",
    """create table copy (id text not null, protocol text not null, revision integer not null, title text not null,
        body text not null, constraint pk_copy primary key (id))""",
    """create table acknowledgement (id text not null, keeper text not null, copy_id text not null, at text not null,
        constraint pk_acknowledgement primary key (id),
        constraint fk_acknowledgement_keeper foreign key (keeper) references keeper (id),
        constraint fk_acknowledgement_copy_id foreign key (copy_id) references copy (id))""",
    """create table batch (id text not null, name text not null, tank text not null, system text not null,
        copy_id text not null, arrived_at text not null, source text not null, destination text, fish text not null,
        state text not null, closed_at text, standing text not null,
        constraint pk_batch primary key (id),
        constraint fk_batch_tank foreign key (tank) references tank (id),
        constraint fk_batch_system foreign key (system) references system (id),
        constraint fk_batch_copy_id foreign key (copy_id) references copy (id),
        constraint fk_batch_destination foreign key (destination) references tank (id),
        constraint ck_batch_state check (state in ('open', 'released', 'rejected', 'died out')))""",
    """create table fact (id text not null, kind text not null, system text not null, tank text, batch text,
        task text, happened_at text not null, entered_at text not null, keeper text not null, data text not null,
        constraint pk_fact primary key (id),
        constraint fk_fact_system foreign key (system) references system (id),
        constraint fk_fact_tank foreign key (tank) references tank (id),
        constraint fk_fact_batch foreign key (batch) references batch (id),
        constraint fk_fact_keeper foreign key (keeper) references keeper (id))""",
    """create table task (id text not null, key text not null, code text not null, system text not null,
        tank text not null, batch text not null, kind text not null, step text not null, title text not null,
        day text, due_from text, due_until text, lapses_at text, state text not null, needs text,
        reason text not null, detail text not null, made_at text not null,
        outcome_at text, outcome_by text, outcome text,
        constraint pk_task primary key (id),
        constraint fk_task_system foreign key (system) references system (id),
        constraint fk_task_tank foreign key (tank) references tank (id),
        constraint fk_task_batch foreign key (batch) references batch (id),
        constraint ck_task_state check (state in ('planned', 'done', 'skipped', 'missed', 'withdrawn')))""",
    """create table signoff (id text not null, batch text not null, decision text not null, keeper text not null,
        at text not null, deviation text, evidence text not null, seal text not null,
        constraint pk_signoff primary key (id),
        constraint fk_signoff_batch foreign key (batch) references batch (id),
        constraint fk_signoff_keeper foreign key (keeper) references keeper (id),
        constraint ck_signoff_decision
            check (decision in ('release', 'release with deviation', 'extend', 'reject', 'died out')))""",
    """create table calendared (id text not null, sequence integer not null, stamp text not null,
        content text not null, constraint pk_calendared primary key (id))""",
    "create unique index uq_keeper_name on keeper (lower(name))",
    "create unique index uq_site_name on site (lower(name))",
    "create unique index uq_tank_name on tank (lower(name))",
    "create unique index uq_batch_name on batch (lower(name))",
    "create unique index uq_task_key on task (key)",
    "create unique index uq_task_code on task (code)",
    # A task has one outcome: whoever comes second is refused by the database, not by a screen.
    "create unique index uq_fact_outcome on fact (task) where kind in ('done', 'dose', 'skip') and task is not null",
    "create index ix_task_open on task (due_from) where state in ('planned', 'missed')",
    "create index ix_task_batch on task (batch, state)",
    "create index ix_task_system on task (system, state)",
    "create index ix_fact_system on fact (system, kind, happened_at)",
    "create index ix_fact_system_time on fact (system, happened_at)",
    "create index ix_fact_tank on fact (tank, happened_at)",
    "create index ix_volume_tank on volume (tank, valid_from)",
    "create index ix_batch_state on batch (state)",
)

# Taking back: a fact that names the one it voids, and a task that can have an outcome again after one was voided.
# Expecting: an ordered batch is a batch before it arrives.
TAKEN_BACK_AND_EXPECTED = Migration(
    2,
    "facts can be voided, batches expected",
    (
        "alter table fact add column attempt integer",
        "alter table fact add column voids text",
        "drop index uq_fact_outcome",
        """create unique index uq_fact_outcome on fact (task, coalesce(attempt, 0))
        where kind in ('done', 'dose', 'skip') and task is not null""",
        "create unique index uq_fact_voids on fact (voids) where voids is not null",
    ),
    sqlite=(
        """create table batch_new (id text not null, name text not null, tank text not null, system text not null,
        copy_id text not null, arrived_at text not null, source text not null, destination text, fish text not null,
        state text not null, closed_at text, standing text not null,
        constraint pk_batch primary key (id),
        constraint fk_batch_tank foreign key (tank) references tank (id),
        constraint fk_batch_system foreign key (system) references system (id),
        constraint fk_batch_copy_id foreign key (copy_id) references copy (id),
        constraint fk_batch_destination foreign key (destination) references tank (id),
        constraint ck_batch_state
            check (state in ('expected', 'open', 'released', 'rejected', 'died out', 'called off')))""",
        """insert into batch_new select id, name, tank, system, copy_id, arrived_at, source, destination, fish, state,
        closed_at, standing from batch""",
        "drop table batch",
        "alter table batch_new rename to batch",
        "create unique index uq_batch_name on batch (lower(name))",
        "create index ix_batch_state on batch (state)",
    ),
    postgresql=(
        "alter table batch drop constraint ck_batch_state",
        """alter table batch add constraint ck_batch_state
        check (state in ('expected', 'open', 'released', 'rejected', 'died out', 'called off'))""",
    ),
)

# Stock: a keeper's own bottles and bags, and what came into each and went out of it.
STOCK = Migration(
    3,
    "products, lots and what moves",
    (
        """create table product (id text not null, name text not null, substance text not null, form text not null,
        strength text not null, each text, unit text not null, step text, constraint pk_product primary key (id),
        constraint ck_product_form check (form in ('powder', 'solution', 'tablet')))""",
        """create table lot (id text not null, product text not null, number text not null, expires text,
        opened_on text, state text not null, constraint pk_lot primary key (id),
        constraint fk_lot_product foreign key (product) references product (id),
        constraint ck_lot_state check (state in ('in use', 'recalled')))""",
        """create table movement (id text not null, lot text not null, kind text not null, amount text not null,
        happened_at text not null, entered_at text not null, keeper text not null, fact text, data text not null,
        constraint pk_movement primary key (id),
        constraint fk_movement_lot foreign key (lot) references lot (id),
        constraint fk_movement_keeper foreign key (keeper) references keeper (id),
        constraint ck_movement_kind
            check (kind in ('purchase', 'dose', 'use', 'disposal', 'count', 'taken back')))""",
        "create unique index uq_product_name on product (lower(name))",
        "create unique index uq_lot_number on lot (product, lower(number))",
        "create index ix_movement_lot on movement (lot, happened_at)",
        "create index ix_movement_fact on movement (fact) where fact is not null",
        # What a shopping list adds up: a tenth of the tasks.
        "create index ix_task_takes on task (batch) where kind in ('dose', 'change', 'chore')",
    ),
)

# People: who is away, when a site is shut, what each keeper may do. A withdrawal is a row that names the one it voids.
# Merging: a batch that went on in another one.
PEOPLE_AND_MERGED = Migration(
    4,
    "absences, closures, roles; batches can be merged",
    (
        """create table absence (id text not null, keeper text not null, since text not null, until text not null,
        because text not null, entered_at text not null, entered_by text not null, voids text,
        constraint pk_absence primary key (id),
        constraint fk_absence_keeper foreign key (keeper) references keeper (id),
        constraint fk_absence_entered_by foreign key (entered_by) references keeper (id),
        constraint ck_absence_days check (since <= until))""",
        """create table closure (id text not null, site text not null, since text not null, until text not null,
        weekdays text not null, what text not null, entered_at text not null, entered_by text not null, voids text,
        constraint pk_closure primary key (id),
        constraint fk_closure_site foreign key (site) references site (id),
        constraint fk_closure_entered_by foreign key (entered_by) references keeper (id),
        constraint ck_closure_days check (since <= until))""",
        """create table role (id text not null, keeper text not null, role text not null, entered_at text not null,
        entered_by text not null,
        constraint pk_role primary key (id),
        constraint fk_role_keeper foreign key (keeper) references keeper (id),
        constraint fk_role_entered_by foreign key (entered_by) references keeper (id),
        constraint ck_role_role check (role in ('keeper', 'adult', 'sitter', 'pupil')))""",
        "create unique index uq_absence_voids on absence (voids) where voids is not null",
        "create unique index uq_closure_voids on closure (voids) where voids is not null",
        "create index ix_role_keeper on role (keeper, entered_at)",
    ),
    sqlite=(
        """create table batch_new (id text not null, name text not null, tank text not null, system text not null,
        copy_id text not null, arrived_at text not null, source text not null, destination text, fish text not null,
        state text not null, closed_at text, standing text not null,
        constraint pk_batch primary key (id),
        constraint fk_batch_tank foreign key (tank) references tank (id),
        constraint fk_batch_system foreign key (system) references system (id),
        constraint fk_batch_copy_id foreign key (copy_id) references copy (id),
        constraint fk_batch_destination foreign key (destination) references tank (id),
        constraint ck_batch_state
            check (state in ('expected', 'open', 'released', 'rejected', 'died out', 'called off', 'merged')))""",
        """insert into batch_new select id, name, tank, system, copy_id, arrived_at, source, destination, fish, state,
        closed_at, standing from batch""",
        "drop table batch",
        "alter table batch_new rename to batch",
        "create unique index uq_batch_name on batch (lower(name))",
        "create index ix_batch_state on batch (state)",
    ),
    postgresql=(
        "alter table batch drop constraint ck_batch_state",
        """alter table batch add constraint ck_batch_state
        check (state in ('expected', 'open', 'released', 'rejected', 'died out', 'called off', 'merged'))""",
    ),
)

MIGRATIONS = (Migration(1, "baseline", BASELINE), TAKEN_BACK_AND_EXPECTED, STOCK, PEOPLE_AND_MERGED)
NEWEST = MIGRATIONS[-1].number


def triggers(dialect: str) -> Iterator[tuple[str, str]]:
    """Name and statement of each append-only trigger. Made again after every upgrade; `check` verifies them."""
    if dialect == "sqlite":
        for table in APPEND_ONLY:
            refuse = f"select raise(abort, '{table} is append-only')"
            for what in ("update", "delete"):
                name = f"{table}_no_{what}"
                yield name, f"create trigger {name} before {what} on {table} begin {refuse}; end"
            # INSERT OR REPLACE deletes without firing the delete trigger.
            name = f"{table}_no_replace"
            yield (
                name,
                f"create trigger {name} before insert on {table} "
                f"when exists (select 1 from {table} where id = new.id) begin {refuse}; end",
            )
    else:
        for table in APPEND_ONLY:
            for what in ("update", "delete", "truncate"):
                name = f"{table}_no_{what}"
                each = "statement" if what == "truncate" else "row"
                yield (
                    name,
                    f"create trigger {name} before {what} on {table} for each {each} execute function append_only()",
                )


APPEND_ONLY_FUNCTION = """create or replace function append_only() returns trigger language plpgsql as
$$ begin raise exception '% is append-only', tg_table_name; end $$"""


def triggers_sql(dialect: str) -> str:
    """SQL that lists name and body of the triggers that are really there and switched on."""
    if dialect == "sqlite":
        return "select name, sql as body from sqlite_master where type = 'trigger'"
    return """select pg_trigger.tgname as name, pg_proc.prosrc as body from pg_trigger
        join pg_proc on pg_proc.oid = pg_trigger.tgfoid where pg_trigger.tgenabled in ('O', 'A')"""


def trigger_body(dialect: str, statement: str) -> str:
    """What :func:`triggers_sql` finds as body of a trigger made by ``statement``; SQLite keeps its text, but writes
    the first words in capitals."""
    if dialect == "sqlite":
        return statement.replace("create trigger", "CREATE TRIGGER", 1)
    return APPEND_ONLY_FUNCTION.split("$$")[1]
