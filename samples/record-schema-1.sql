-- An invented record, written by version 0.1.0 (schema 1). It must open in every later version.
BEGIN TRANSACTION;
CREATE TABLE acknowledgement (id text not null, keeper text not null, copy_id text not null, at text not null,
        constraint pk_acknowledgement primary key (id),
        constraint fk_acknowledgement_keeper foreign key (keeper) references keeper (id),
        constraint fk_acknowledgement_copy_id foreign key (copy_id) references copy (id));
CREATE TABLE batch (id text not null, name text not null, tank text not null, system text not null,
        copy_id text not null, arrived_at text not null, source text not null, destination text, fish text not null,
        state text not null, closed_at text, standing text not null,
        constraint pk_batch primary key (id),
        constraint fk_batch_tank foreign key (tank) references tank (id),
        constraint fk_batch_system foreign key (system) references system (id),
        constraint fk_batch_copy_id foreign key (copy_id) references copy (id),
        constraint fk_batch_destination foreign key (destination) references tank (id),
        constraint ck_batch_state check (state in ('open', 'released', 'rejected', 'died out')));
CREATE TABLE calendared (id text not null, sequence integer not null, stamp text not null,
        content text not null, constraint pk_calendared primary key (id));
CREATE TABLE copy (id text not null, protocol text not null, revision integer not null, title text not null,
        body text not null, constraint pk_copy primary key (id));
CREATE TABLE fact (id text not null, kind text not null, system text not null, tank text, batch text,
        task text, happened_at text not null, entered_at text not null, keeper text not null, data text not null,
        constraint pk_fact primary key (id),
        constraint fk_fact_system foreign key (system) references system (id),
        constraint fk_fact_tank foreign key (tank) references tank (id),
        constraint fk_fact_batch foreign key (batch) references batch (id),
        constraint fk_fact_keeper foreign key (keeper) references keeper (id));
INSERT INTO "fact" VALUES('d682cd26c78d42999ada57debffdd3a5','look','2e4e05d87d344f8da4f2057a289c4d23','8834ac7284474e6583e39b81424b91bb',NULL,NULL,'2026-02-11T09:00:00Z','2026-02-11T09:00:00Z','f6e8abc144254a3a82788cad3cf2f735','{"appetite":3,"no_signs":true,"offered":true,"seen":20}');
INSERT INTO "fact" VALUES('d501a7525b5d4a7b82e4497f35f49b25','reading','2e4e05d87d344f8da4f2057a289c4d23','8834ac7284474e6583e39b81424b91bb',NULL,NULL,'2026-02-11T09:00:00Z','2026-02-11T09:00:00Z','f6e8abc144254a3a82788cad3cf2f735','{"parameter":"temperature","step":"0.10","unit":"°C","value":"24.5","water":"fresh"}');
INSERT INTO "fact" VALUES('ec8b40e9b4dc44f28793d6991f9ecec9','reading','2e4e05d87d344f8da4f2057a289c4d23','8834ac7284474e6583e39b81424b91bb',NULL,NULL,'2026-02-11T09:00:00Z','2026-02-11T09:00:00Z','f6e8abc144254a3a82788cad3cf2f735','{"parameter":"ph","step":"0.1","unit":"","value":"7.4","water":"fresh"}');
INSERT INTO "fact" VALUES('caefc1ea71d741a7ad02d41a0b63f8aa','reading','2e4e05d87d344f8da4f2057a289c4d23','8834ac7284474e6583e39b81424b91bb',NULL,NULL,'2026-02-11T09:00:00Z','2026-02-11T09:00:00Z','f6e8abc144254a3a82788cad3cf2f735','{"parameter":"tan","step":"0.10","unit":"mg/L","value":"0.1","water":"fresh"}');
CREATE TABLE head (id integer not null, entry text not null, n integer not null,
        constraint pk_head primary key (id), constraint ck_head_one check (id = 1));
INSERT INTO "head" VALUES(1,'f447ed6f17b79f5bdf295b3eabca4b2ead586498d676b87dd3daf91c64c76ce7',7);
CREATE TABLE journal (id text not null, n integer not null, payload text not null,
        constraint pk_journal primary key (id), constraint uq_journal_n unique (n));
INSERT INTO "journal" VALUES('7021ddec98374098370e09d449ee3c7bc902504e5c627637b963246e2ba1fec9',1,'{"entered_at":"2026-02-10T09:00:00Z","happened_at":"2026-02-10T09:00:00Z","keeper":null,"kind":"site added","parents":["0000000000000000000000000000000000000000000000000000000000000000"],"rows":{"site":[{"id":"dec64143f79a4b49a738c3656049ef82","name":"Hall","zone":"Europe/Berlin"}]},"says":"site Hall in zone Europe/Berlin","version":1}');
INSERT INTO "journal" VALUES('b82e832884791b5e62abba84346f9d61dc2cf556c6f8b832cd20f3d65c6afc00',2,'{"entered_at":"2026-02-10T09:00:00Z","happened_at":"2026-02-10T09:00:00Z","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"keeper added","parents":["7021ddec98374098370e09d449ee3c7bc902504e5c627637b963246e2ba1fec9"],"rows":{"keeper":[{"id":"f6e8abc144254a3a82788cad3cf2f735"}]},"says":"a keeper was added","version":1}');
INSERT INTO "journal" VALUES('19e4ca80c7ac3b20590414fb18fc07377c356ab46e93069ff83c7837110633c0',3,'{"entered_at":"2026-02-10T09:00:00Z","happened_at":"2026-02-10T09:00:00Z","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"tank added","parents":["b82e832884791b5e62abba84346f9d61dc2cf556c6f8b832cd20f3d65c6afc00"],"rows":{"system":[{"id":"37a85a9dacd64fa09fb4310c896c607b","name":"Q1","site":"dec64143f79a4b49a738c3656049ef82"}],"tank":[{"id":"93f5d869c3f44afcb83793e702fa3f5e","label_litres":"60","name":"Q1","role":"quarantine","shape":{"filled":["32","0.3"],"filter":null,"height":null,"length":["60","0.2"],"rocks":null,"shape":"box","substrate":null,"sump":null,"walls":null,"width":["30","0.2"]},"site":"dec64143f79a4b49a738c3656049ef82","system":"37a85a9dacd64fa09fb4310c896c607b","water":"fresh"}],"volume":[{"id":"bf347a8213574b46ab360eda39455a8f","keeper":"f6e8abc144254a3a82788cad3cf2f735","litres":"57.60","method":"computed from its measures","plus_minus":"0.69","tank":"93f5d869c3f44afcb83793e702fa3f5e","valid_from":"2026-02-10T09:00:00Z","working":["filled: 60 cm x 30 cm x 32 cm / 1000 = 57.6 L","water: 57.6 = 57.6 L","plus-minus: root of the sum of squares of length 0.192, width 0.384, filled 0.54 = 0.6899 L"]}]},"says":"tank Q1: plus-minus: root of the sum of squares of length 0.192, width 0.384, filled 0.54 = 0.6899 L","version":1}');
INSERT INTO "journal" VALUES('a3118e22e16792c872b61cf5cd42fa655875d4c98a8c8040679d1cfbf9adb758',4,'{"entered_at":"2026-02-10T09:00:00Z","happened_at":"2026-02-10T09:00:00Z","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"tank added","parents":["19e4ca80c7ac3b20590414fb18fc07377c356ab46e93069ff83c7837110633c0"],"rows":{"system":[{"id":"2e4e05d87d344f8da4f2057a289c4d23","name":"Round Pool","site":"dec64143f79a4b49a738c3656049ef82"}],"tank":[{"id":"8834ac7284474e6583e39b81424b91bb","label_litres":null,"name":"Round Pool","role":"display","shape":{"diameter":["80","0.2"],"filled":["50","0.3"],"filter":null,"height":null,"rocks":null,"shape":"cylinder","substrate":null,"sump":null,"walls":null},"site":"dec64143f79a4b49a738c3656049ef82","system":"2e4e05d87d344f8da4f2057a289c4d23","water":"fresh"}],"volume":[{"id":"0c3ca132be574ebd99ec1ca09b148cfb","keeper":"f6e8abc144254a3a82788cad3cf2f735","litres":"251.33","method":"computed from its measures","plus_minus":"1.97","tank":"8834ac7284474e6583e39b81424b91bb","valid_from":"2026-02-10T09:00:00Z","working":["filled: 3.14159265 x 80 cm x 80 cm / 4 x 50 cm / 1000 = 251.3274 L","water: 251.3274 = 251.3274 L","plus-minus: root of the sum of squares of diameter 1.2566, filled 1.508 = 1.9629 L"]}]},"says":"tank Round Pool: plus-minus: root of the sum of squares of diameter 1.2566, filled 1.508 = 1.9629 L","version":1}');
INSERT INTO "journal" VALUES('64eecd9c59edfc0c4a73d4d36876c2d7d8a3fe997d72a94babdd9c6cd84dcd4b',5,'{"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"tank measured","parents":["a3118e22e16792c872b61cf5cd42fa655875d4c98a8c8040679d1cfbf9adb758"],"rows":{"volume":[{"id":"bcea8fea85aa4df98a1fed6b03cb11e2","keeper":"f6e8abc144254a3a82788cad3cf2f735","litres":"56.50","method":"counted buckets","plus_minus":"0.50","tank":"93f5d869c3f44afcb83793e702fa3f5e","valid_from":"2026-02-11T09:00:00Z","working":["56.5 L, plus or minus 0.5 L, by counted buckets"]}]},"says":"tank Q1: 56.5 L, plus or minus 0.5 L, by counted buckets","version":1}');
INSERT INTO "journal" VALUES('5be7c8888679e2800d89bf96c94ec24c6c1ffd6e4059ddae8dbd9c5e303c356c',6,'{"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"look","parents":["64eecd9c59edfc0c4a73d4d36876c2d7d8a3fe997d72a94babdd9c6cd84dcd4b"],"rows":{"fact":[{"batch":null,"data":{"appetite":3,"no_signs":true,"offered":true,"seen":20},"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","id":"d682cd26c78d42999ada57debffdd3a5","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"look","system":"2e4e05d87d344f8da4f2057a289c4d23","tank":"8834ac7284474e6583e39b81424b91bb","task":null}]},"says":"Round Pool: 20 seen","version":1}');
INSERT INTO "journal" VALUES('f447ed6f17b79f5bdf295b3eabca4b2ead586498d676b87dd3daf91c64c76ce7',7,'{"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"reading","parents":["5be7c8888679e2800d89bf96c94ec24c6c1ffd6e4059ddae8dbd9c5e303c356c"],"rows":{"fact":[{"batch":null,"data":{"parameter":"temperature","step":"0.10","unit":"°C","value":"24.5","water":"fresh"},"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","id":"d501a7525b5d4a7b82e4497f35f49b25","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"reading","system":"2e4e05d87d344f8da4f2057a289c4d23","tank":"8834ac7284474e6583e39b81424b91bb","task":null},{"batch":null,"data":{"parameter":"ph","step":"0.1","unit":"","value":"7.4","water":"fresh"},"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","id":"ec8b40e9b4dc44f28793d6991f9ecec9","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"reading","system":"2e4e05d87d344f8da4f2057a289c4d23","tank":"8834ac7284474e6583e39b81424b91bb","task":null},{"batch":null,"data":{"parameter":"tan","step":"0.10","unit":"mg/L","value":"0.1","water":"fresh"},"entered_at":"2026-02-11T09:00:00Z","happened_at":"2026-02-11T09:00:00Z","id":"caefc1ea71d741a7ad02d41a0b63f8aa","keeper":"f6e8abc144254a3a82788cad3cf2f735","kind":"reading","system":"2e4e05d87d344f8da4f2057a289c4d23","tank":"8834ac7284474e6583e39b81424b91bb","task":null}]},"says":"Round Pool: temperature 24.5 °C, pH 7.4, total ammonia nitrogen 0.1 mg/L, un-ionized ammonia 0.0006 to 0.0023 mg/L as N, over the kits'' steps","version":1}');
CREATE TABLE keeper (id text not null, name text not null, constraint pk_keeper primary key (id));
INSERT INTO "keeper" VALUES('f6e8abc144254a3a82788cad3cf2f735','Robin');
CREATE TABLE meta (id text not null, value text not null, constraint pk_meta primary key (id));
INSERT INTO "meta" VALUES('schema','1');
INSERT INTO "meta" VALUES('database','73506f22af344d7c9952a5308bd37e2b');
CREATE TABLE signoff (id text not null, batch text not null, decision text not null, keeper text not null,
        at text not null, deviation text, evidence text not null, seal text not null,
        constraint pk_signoff primary key (id),
        constraint fk_signoff_batch foreign key (batch) references batch (id),
        constraint fk_signoff_keeper foreign key (keeper) references keeper (id),
        constraint ck_signoff_decision
            check (decision in ('release', 'release with deviation', 'extend', 'reject', 'died out')));
CREATE TABLE site (id text not null, name text not null, zone text not null,
        constraint pk_site primary key (id));
INSERT INTO "site" VALUES('dec64143f79a4b49a738c3656049ef82','Hall','Europe/Berlin');
CREATE TABLE system (id text not null, name text not null, site text not null,
        constraint pk_system primary key (id),
        constraint fk_system_site foreign key (site) references site (id));
INSERT INTO "system" VALUES('37a85a9dacd64fa09fb4310c896c607b','Q1','dec64143f79a4b49a738c3656049ef82');
INSERT INTO "system" VALUES('2e4e05d87d344f8da4f2057a289c4d23','Round Pool','dec64143f79a4b49a738c3656049ef82');
CREATE TABLE tank (id text not null, name text not null, site text not null, system text not null,
        role text not null, water text not null, shape text not null, label_litres text,
        constraint pk_tank primary key (id),
        constraint fk_tank_site foreign key (site) references site (id),
        constraint fk_tank_system foreign key (system) references system (id),
        constraint ck_tank_role check (role in ('quarantine', 'display', 'holding', 'pond')),
        constraint ck_tank_water check (water in ('fresh', 'brackish', 'marine')));
INSERT INTO "tank" VALUES('93f5d869c3f44afcb83793e702fa3f5e','Q1','dec64143f79a4b49a738c3656049ef82','37a85a9dacd64fa09fb4310c896c607b','quarantine','fresh','{"filled":["32","0.3"],"filter":null,"height":null,"length":["60","0.2"],"rocks":null,"shape":"box","substrate":null,"sump":null,"walls":null,"width":["30","0.2"]}','60');
INSERT INTO "tank" VALUES('8834ac7284474e6583e39b81424b91bb','Round Pool','dec64143f79a4b49a738c3656049ef82','2e4e05d87d344f8da4f2057a289c4d23','display','fresh','{"diameter":["80","0.2"],"filled":["50","0.3"],"filter":null,"height":null,"rocks":null,"shape":"cylinder","substrate":null,"sump":null,"walls":null}',NULL);
CREATE TABLE task (id text not null, key text not null, code text not null, system text not null,
        tank text not null, batch text not null, kind text not null, step text not null, title text not null,
        day text, due_from text, due_until text, lapses_at text, state text not null, needs text,
        reason text not null, detail text not null, made_at text not null,
        outcome_at text, outcome_by text, outcome text,
        constraint pk_task primary key (id),
        constraint fk_task_system foreign key (system) references system (id),
        constraint fk_task_tank foreign key (tank) references tank (id),
        constraint fk_task_batch foreign key (batch) references batch (id),
        constraint ck_task_state check (state in ('planned', 'done', 'skipped', 'missed', 'withdrawn')));
CREATE TABLE volume (id text not null, tank text not null, litres text not null, plus_minus text not null,
        method text not null, valid_from text not null, working text not null, keeper text not null,
        constraint pk_volume primary key (id),
        constraint fk_volume_tank foreign key (tank) references tank (id),
        constraint fk_volume_keeper foreign key (keeper) references keeper (id));
INSERT INTO "volume" VALUES('bf347a8213574b46ab360eda39455a8f','93f5d869c3f44afcb83793e702fa3f5e','57.60','0.69','computed from its measures','2026-02-10T09:00:00Z','["filled: 60 cm x 30 cm x 32 cm / 1000 = 57.6 L","water: 57.6 = 57.6 L","plus-minus: root of the sum of squares of length 0.192, width 0.384, filled 0.54 = 0.6899 L"]','f6e8abc144254a3a82788cad3cf2f735');
INSERT INTO "volume" VALUES('0c3ca132be574ebd99ec1ca09b148cfb','8834ac7284474e6583e39b81424b91bb','251.33','1.97','computed from its measures','2026-02-10T09:00:00Z','["filled: 3.14159265 x 80 cm x 80 cm / 4 x 50 cm / 1000 = 251.3274 L","water: 251.3274 = 251.3274 L","plus-minus: root of the sum of squares of diameter 1.2566, filled 1.508 = 1.9629 L"]','f6e8abc144254a3a82788cad3cf2f735');
INSERT INTO "volume" VALUES('bcea8fea85aa4df98a1fed6b03cb11e2','93f5d869c3f44afcb83793e702fa3f5e','56.50','0.50','counted buckets','2026-02-11T09:00:00Z','["56.5 L, plus or minus 0.5 L, by counted buckets"]','f6e8abc144254a3a82788cad3cf2f735');
CREATE UNIQUE INDEX uq_keeper_name on keeper (lower(name));
CREATE UNIQUE INDEX uq_site_name on site (lower(name));
CREATE UNIQUE INDEX uq_tank_name on tank (lower(name));
CREATE UNIQUE INDEX uq_batch_name on batch (lower(name));
CREATE UNIQUE INDEX uq_task_key on task (key);
CREATE UNIQUE INDEX uq_task_code on task (code);
CREATE UNIQUE INDEX uq_fact_outcome on fact (task) where kind in ('done', 'dose', 'skip') and task is not null;
CREATE INDEX ix_task_open on task (due_from) where state in ('planned', 'missed');
CREATE INDEX ix_task_batch on task (batch, state);
CREATE INDEX ix_task_system on task (system, state);
CREATE INDEX ix_fact_system on fact (system, kind, happened_at);
CREATE INDEX ix_fact_system_time on fact (system, happened_at);
CREATE INDEX ix_fact_tank on fact (tank, happened_at);
CREATE INDEX ix_volume_tank on volume (tank, valid_from);
CREATE INDEX ix_batch_state on batch (state);
CREATE TRIGGER journal_no_update before update on journal begin select raise(abort, 'journal is append-only'); end;
CREATE TRIGGER journal_no_delete before delete on journal begin select raise(abort, 'journal is append-only'); end;
CREATE TRIGGER journal_no_replace before insert on journal when exists (select 1 from journal where id = new.id) begin select raise(abort, 'journal is append-only'); end;
CREATE TRIGGER fact_no_update before update on fact begin select raise(abort, 'fact is append-only'); end;
CREATE TRIGGER fact_no_delete before delete on fact begin select raise(abort, 'fact is append-only'); end;
CREATE TRIGGER fact_no_replace before insert on fact when exists (select 1 from fact where id = new.id) begin select raise(abort, 'fact is append-only'); end;
CREATE TRIGGER volume_no_update before update on volume begin select raise(abort, 'volume is append-only'); end;
CREATE TRIGGER volume_no_delete before delete on volume begin select raise(abort, 'volume is append-only'); end;
CREATE TRIGGER volume_no_replace before insert on volume when exists (select 1 from volume where id = new.id) begin select raise(abort, 'volume is append-only'); end;
CREATE TRIGGER copy_no_update before update on copy begin select raise(abort, 'copy is append-only'); end;
CREATE TRIGGER copy_no_delete before delete on copy begin select raise(abort, 'copy is append-only'); end;
CREATE TRIGGER copy_no_replace before insert on copy when exists (select 1 from copy where id = new.id) begin select raise(abort, 'copy is append-only'); end;
CREATE TRIGGER acknowledgement_no_update before update on acknowledgement begin select raise(abort, 'acknowledgement is append-only'); end;
CREATE TRIGGER acknowledgement_no_delete before delete on acknowledgement begin select raise(abort, 'acknowledgement is append-only'); end;
CREATE TRIGGER acknowledgement_no_replace before insert on acknowledgement when exists (select 1 from acknowledgement where id = new.id) begin select raise(abort, 'acknowledgement is append-only'); end;
CREATE TRIGGER signoff_no_update before update on signoff begin select raise(abort, 'signoff is append-only'); end;
CREATE TRIGGER signoff_no_delete before delete on signoff begin select raise(abort, 'signoff is append-only'); end;
CREATE TRIGGER signoff_no_replace before insert on signoff when exists (select 1 from signoff where id = new.id) begin select raise(abort, 'signoff is append-only'); end;
COMMIT;
