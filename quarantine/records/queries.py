"""The named SQL of every read: portable, with `:name` for values. Every one is run on both engines in the tests."""

from __future__ import annotations

_TASK = """select task.*, tank.name as tank_name, tank.role as tank_role, tank.water as water,
    batch.name as batch_name, batch.state as batch_state, system.name as system_name, site.zone as zone
    from task join tank on tank.id = task.tank join batch on batch.id = task.batch
    join system on system.id = task.system join site on site.id = tank.site """

# What was taken back did not happen; nor did the taking back.
_FACT = """select * from fact where kind <> 'void'
    and not exists (select 1 from fact as taken where taken.voids = fact.id) and """

_COLUMNS = "id, kind, system, tank, batch, task, happened_at, entered_at, keeper, data, attempt, voids"

# What a batch had in waters that it has left, without what is of those waters themselves; its doses by a name that no
# ledger of this water reads. The systems that it came from stand in the fact of its move: mostly there is none.
_OWN_ELSEWHERE = """select id, case when kind = 'dose' then 'dose_before' else kind end as kind, system, tank, batch,
    task, happened_at, entered_at, keeper, data, attempt, voids
    from fact where kind <> 'void' and not exists (select 1 from fact as taken where taken.voids = fact.id) and """
_ELSEWHERE = (
    _OWN_ELSEWHERE
    + """system <> :system and system in (select other.id from fact as moved join system as other
    on moved.data like '%"' || other.id || '"%' where moved.system = :system and moved.kind = 'moved_in')
    and batch in (select id from batch where system = :system) and """
)
_OF_WATER = """('reading', 'source_water', 'change', 'topup', 'evaporation', 'exchange', 'removal', 'unknown_addition',
    'filter_on', 'set_point', 'incident', 'incident_over', 'disturbance', 'shared', 'lift')"""

# Of two volumes of one second the measured one rules the computed one.
_MEASURED_LAST = "case when method = 'computed from its measures' then 0 else 1 end"

_BATCH = """select batch.*, tank.name as tank_name, tank.role as tank_role, tank.water as water,
    system.name as system_name, site.zone as zone, copy.protocol as protocol, copy.revision as revision,
    copy.title as title, destination.name as destination_name
    from batch join tank on tank.id = batch.tank join system on system.id = batch.system
    join site on site.id = tank.site join copy on copy.id = batch.copy_id
    left join tank as destination on destination.id = batch.destination """

QUERIES = {
    "meta": "select value from meta where id = :id",
    "head": "select entry, n from head where id = 1",
    "head_payload": "select journal.id, journal.n, journal.payload from journal join head on head.entry = journal.id",
    "journal": "select id, n, payload from journal order by n",
    "journal_last": "select id, n, payload from journal order by n desc limit :most",
    "keepers": "select id, name from keeper",
    "sites": "select id, name, zone from site",
    "systems": "select id, name, site from system",
    "tanks": """select tank.*, site.name as site_name, site.zone as zone, system.name as system_name
        from tank join site on site.id = tank.site join system on system.id = tank.system""",
    "volumes": "select * from volume where cast(:tank as text) is null or tank = :tank order by valid_from, "
    + _MEASURED_LAST
    + ", id",
    "volumes_of_system": """select volume.* from volume join tank on tank.id = volume.tank
        where tank.system = :system order by volume.valid_from, """
    + _MEASURED_LAST
    + ", volume.id",
    "copy": "select * from copy where id = :id",
    "acknowledgements": "select * from acknowledgement where keeper = :keeper and copy_id = :copy_id",
    "batches": _BATCH + "order by batch.arrived_at, batch.id",
    # What of a batch is on record in other waters than the one it is asked for: see _ELSEWHERE.
    "facts_elsewhere": _OWN_ELSEWHERE
    + f"""system in (select id from system) and system <> :besides and batch = :batch
        and kind not in {_OF_WATER}""",
    "copies_of": _FACT + "system in (select id from system) and data like :copied",
    "moves_of_open": _FACT
    + """system in (select id from system) and kind = 'moved_in'
        and batch in (select id from batch where state = 'open') order by happened_at, entered_at, id""",
    "open_batches": _BATCH + "where batch.state = 'open' order by batch.arrived_at, batch.id",
    "expected_batches": _BATCH + "where batch.state = 'expected' order by batch.arrived_at, batch.id",
    "batch_arrival": "select id, arrived_at, system, tank, state from batch where id = :id",
    "batches_of_system": _BATCH + "where batch.system = :system order by batch.arrived_at, batch.id",
    # Searches, each with its own index; coalesce keeps the second off the index by time, which holds all looks.
    # In no order: the pure rooms sort facts themselves.
    "facts_since": _FACT.replace("*", _COLUMNS)
    + "system = :system and happened_at >= :since union all "
    + _FACT.replace("*", _COLUMNS)
    + """system = :system and kind in
        ('dose', 'change', 'topup', 'evaporation', 'exchange', 'removal', 'unknown_addition', 'filter_on', 'set_point',
        'reading') and (kind <> 'reading' or data like '%"copper"%' or data like '%"salinity"%')
        and coalesce(happened_at, '') < :since union all """
    + _ELSEWHERE
    + f"happened_at >= :since and kind not in {_OF_WATER}",
    # What matters for readings. Looks are the many, and are left to the other query.
    "water_facts_since": _FACT
    + """system = :system and kind in ('reading', 'source_water', 'change', 'topup', 'evaporation', 'dose', 'removal',
        'exchange', 'unknown_addition', 'filter_on') and happened_at >= :since""",
    "tasks_of_system": """select * from task where batch in
        (select id from batch where system = :system and state = 'open')""",
    "tasks_of_batch": _TASK + "where task.batch = :batch order by task.due_from, task.code",
    "all_tasks": _TASK
    + """where cast(:batch as text) is null or task.batch = :batch
        order by coalesce(task.day, '9999'), coalesce(task.due_from, ''), task.id""",
    "open_tasks": _TASK
    + """where task.state in ('planned', 'missed') and (task.due_from is null or task.due_from < :until)
        and (cast(:tank as text) is null or task.tank = :tank) order by task.due_from, task.code""",
    "next_doses": """select task.batch as batch, min(task.day) as day from batch join task on task.batch = batch.id
        where batch.state = 'open' and task.state = 'planned' and task.kind = 'dose' and task.day is not null
        group by task.batch""",
    # The suffix tells the entries of a private calendar, which have a history of their own.
    "calendar_tasks": """select task.*, tank.name as tank_name, batch.name as batch_name, batch.copy_id as copy_id,
        site.zone as zone, calendared.sequence as told_sequence, calendared.stamp as told_stamp,
        calendared.content as told_content
        from task join tank on tank.id = task.tank join batch on batch.id = task.batch
        join site on site.id = tank.site left join calendared on calendared.id = task.id || cast(:suffix as text)
        where (task.day is not null or calendared.content is not null)
        and (cast(:batch as text) is null or task.batch = :batch)
        and (cast(:tank as text) is null or task.tank = :tank)
        and (cast(:site as text) is null or tank.site = :site)
        and (cast(:since as text) is null or task.day is null or task.day >= :since)
        and (cast(:until as text) is null or task.day is null or task.day <= :until)
        order by coalesce(task.day, ''), task.id""",
    "amount_changers": """select system, day from task where kind in ('dose', 'change') and day is not null
        and state in ('planned', 'missed')""",
    "acknowledged_by": "select copy_id from acknowledgement where keeper = :keeper",
    "task_by_code": _TASK + "where task.code = :code",
    "task_by_key": "select * from task where key = :key",
    "code_taken": "select id from task where code = :code",
    "open_tasks_of_system": "select * from task where system = :system and state in ('planned', 'missed')",
    "fact": "select * from fact where id = :id",
    "fact_stands": _FACT + "id = :id",
    "facts_of_kind": _FACT
    + "kind = :kind and (cast(:system as text) is null or system = :system) order by happened_at, entered_at, id",
    # By system, so that the index serves: looks are the many.
    "incidents": _FACT + "system in (select id from system) and kind in ('incident', 'incident_over')",
    "claims": _FACT + "system in (select id from system) and kind = 'claim' and happened_at >= :since",
    "instructions_and_animals": _FACT.replace("*", _COLUMNS)
    + """system = :system and kind in ('instruction', 'instruction_withdrawn', 'animals') union all """
    + _ELSEWHERE
    + "kind in ('instruction', 'instruction_withdrawn', 'animals')",
    "outcomes_of_task": "select count(*) as n from fact where task = :task and kind in ('done', 'dose', 'skip')",
    "settled_by": "select id, batch, system, kind from task where outcome like :fact",
    "entry": "select id, n, payload from journal where id like :beginning",
    "signoffs": """select signoff.*, keeper.name as keeper_name from signoff
        join keeper on keeper.id = signoff.keeper where batch = :batch order by at""",
    "keeper_name": "select name from keeper where id = :id",
    "products": "select * from product",
    "lots": """select lot.*, product.name as product_name, product.substance as substance, product.form as form,
        product.strength as strength, product.each as each, product.unit as unit, product.step as step
        from lot join product on product.id = lot.product""",
    # What stands in the plan and takes something; a dose that was given matters where changes are made good (rule C1).
    "open_amounts": """select task.key as key, task.code as code, task.kind as kind, task.step as step,
        task.title as title, task.day as day, task.state as state, task.tank as tank, task.batch as batch,
        batch.name as batch_name, batch.arrived_at as arrived_at, batch.copy_id as copy_id,
        case when task.kind = 'chore' then null else task.detail end as detail
        from batch join task on task.batch = batch.id where batch.state = 'open'
        and task.kind in ('dose', 'change', 'chore') and (
        (task.state = 'planned' and (task.lapses_at is null or task.lapses_at > :until))
        or (task.state = 'done' and task.kind = 'dose'
        and (task.detail like '%replace removed%' or task.detail like '%"after_change":"full"%')))""",
    "shopping_facts": _FACT
    + """system in (select id from system)
        and (kind = 'instruction' or kind = 'source_water' and happened_at >= :since)""",
    "movements": """select movement.*, keeper.name as keeper_name from movement
        join keeper on keeper.id = movement.keeper
        where cast(:lot as text) is null or movement.lot = :lot order by happened_at, entered_at, movement.id""",
    # What was withdrawn does not stand; nor is the withdrawal an absence, or a closure.
    "absences": """select absence.*, keeper.name as keeper_name from absence
        join keeper on keeper.id = absence.keeper where absence.voids is null
        and not exists (select 1 from absence as taken where taken.voids = absence.id)
        and absence.until >= :since order by absence.since, absence.until, absence.id""",
    "closures": """select closure.*, site.name as site_name, site.zone as zone from closure
        join site on site.id = closure.site where closure.voids is null
        and not exists (select 1 from closure as taken where taken.voids = closure.id)
        and (cast(:site as text) is null or closure.site = :site)
        and closure.until >= :since order by closure.since, closure.until, closure.id""",
    # What an entry is stands in its first letters: no more of a long one is looked through.
    "keepers_added": """select payload from journal where substr(payload, 1, 250) like '%"kind":"keeper added"%'""",
    "roles": "select id, keeper, role from role order by entered_at, id",
}
