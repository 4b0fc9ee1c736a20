"""The record: the only room that touches the database.

Writing goes through :mod:`quarantine.records.store` (SQLModel tables, one transaction per action,
journal entry in the same transaction). Reading goes through :mod:`quarantine.records.reads`
(named SQL on the bare driver): a cold `today` is what people feel.
"""
