"""Initial schema: every table, its words and bounds, the first tenant, and PostgreSQL's walls.

A column is written as `name kind`. `?` says that it may be NULL, `{a|b}` gives its words, `[0..9]`
its bounds. `=` stands before its default in the database. `>table` points at a row and goes with
it, `~table` is emptied. What points at a row of a tenant is bound to that tenant.
Row-level security is the second wall between tenants. A later step that changes data must set
`app.tenant` for each tenant.
Back: `downgrade` drops every table, so all data are lost.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
KINDS: dict[str, Any] = {
    "big": BIG,
    "int": sa.Integer(),
    "number": sa.Double(),
    "flag": sa.Boolean(),
    "day": sa.Date(),
    "moment": sa.DateTime(timezone=True),
    "json": sa.JSON(),
    "bytes": sa.LargeBinary(),
    "code": sa.String(length=3),
    "hex": sa.String(length=32),
    "word": sa.String(length=40),
    "hash": sa.String(length=64),
    "id": sa.String(length=200),
    "address": sa.String(length=500),
    "text": sa.String(length=2000),
}
COLUMN = re.compile(
    r"(?P<name>\w+) (?P<target>[>~]?)(?P<kind>\w+)(?P<null>\??)"
    r"(?:\{(?P<words>[^}]+)\})?(?:\[(?P<low>\w+)\.\.(?P<high>\w*)\])?(?:=(?P<default>[^,]+))?"
)


class Table(NamedTuple):
    columns: str
    checks: Mapping[str, str] = {}
    unique: Sequence[str] = ()
    indexes: Sequence[str] = ()


# Who signs in is known before the tenant is: these have no wall.
OPEN = (
    "tenants",
    "users",
    "memberships",
    "personal_links",
    "browser_sessions",
    "api_tokens",
    "invitations",
    "sign_in_tries",
    "known_devices",
    "second_factors",
    "recovery_codes",
    "sign_in_steps",
    "passkeys",
    "passkey_challenges",
    "home_devices",
    "connection_codes",
)


def upgrade() -> None:
    for name, table in TABLES.items():
        # A number is never given twice: the history names rows by it after they are gone.
        made = op.create_table(name, *_items(name, table), sqlite_autoincrement=True)
        for columns in map(str.split, table.indexes):
            op.create_index(op.f(f"ix_{name}_{'_'.join(columns)}"), name, columns)
        if name == "tenants":
            first = {"tenant_id": "own", "name": "My rack", "kind": "rack"}
            op.bulk_insert(made, [first | {"made_at": datetime.now(UTC)}])
        if name not in OPEN and op.get_bind().dialect.name == "postgresql":
            _wall(name)


def downgrade() -> None:
    tenants = op.get_bind().execute(sa.text("SELECT count(*) FROM tenants")).scalar_one()
    if tenants > 1:
        raise RuntimeError("there is more than one tenant: erase the others before")
    for name in reversed(TABLES):
        op.drop_table(name)


def _wall(name: str) -> None:
    mine = "tenant_pk = nullif(current_setting('app.tenant', true), '')::bigint"
    op.execute(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY")
    op.execute(f"ALTER TABLE {name} FORCE ROW LEVEL SECURITY")
    op.execute(f"CREATE POLICY tenant_only ON {name} USING ({mine}) WITH CHECK ({mine})")


def _items(name: str, table: Table) -> list[sa.schema.SchemaItem]:
    items: list[sa.schema.SchemaItem] = [sa.Column("id", BIG, nullable=False)]
    items.append(sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")))
    rules = dict(table.checks)
    for found in COLUMN.finditer(table.columns):
        items += _column(name, found)
        column, words, low, high = found["name"], found["words"], found["low"], found["high"]
        if words:
            rules[column] = f"{column} IN (" + ", ".join(f"'{w}'" for w in words.split("|")) + ")"
        elif low:
            rules[column] = f"{column} >= {low}" + (f" AND {column} <= {high}" if high else "")
    for rule, sql in rules.items():
        items.append(sa.CheckConstraint(sql, name=op.f(f"ck_{name}_{rule}")))
    for names in map(str.split, table.unique):
        items.append(sa.UniqueConstraint(*names, name=op.f(f"uq_{name}_{'_'.join(names)}")))
    return items


def _column(table: str, found: re.Match[str]) -> list[sa.schema.SchemaItem]:
    name, target = found["name"], found["target"]
    more: dict[str, Any] = {"nullable": bool(found["null"])}
    if found["default"]:
        more["server_default"] = sa.text(found["default"])
    if not target:
        return [sa.Column(name, KINDS[found["kind"]], **more)]
    aim, key = found["kind"], op.f(f"fk_{table}_{name}")
    both = ([name, "tenant_pk"], [f"{aim}.id", f"{aim}.tenant_pk"])
    one = ([name], [f"{aim}.id"])
    column = sa.Column(name, BIG, **more)
    if target == ">":
        pair = both if "tenant_pk" in TABLES[aim].columns else one
        return [column, sa.ForeignKeyConstraint(*pair, name=key, ondelete="CASCADE")]
    late: dict[str, Any] = {"deferrable": True, "initially": "DEFERRED"}
    emptied = sa.ForeignKeyConstraint(*one, name=key, ondelete="SET NULL")
    return [column, emptied, sa.ForeignKeyConstraint(*both, name=op.f(f"{key}_tenant"), **late)]


TABLES = {
    "sign_in_tries": Table(
        "key_hash hash, failures int, last_at moment", unique=["key_hash"], indexes=["last_at"]
    ),
    "tenants": Table(
        "tenant_id id, name text, kind word{rack|shop}, made_at moment, "
        "second_factor word{nobody|owners|everyone}='nobody'",
        unique=["tenant_id"],
    ),
    "users": Table(
        "user_id id, email id, name text?, password_hash text, made_at moment, disabled_at moment?",
        unique=["email", "user_id"],
    ),
    "api_tokens": Table(
        "token_id id, tenant_pk >tenants, user_pk >users, name text, scopes json, "
        "token_hash hash, made_at moment, used_at moment?, revoked_at moment?",
        unique=["token_hash", "token_id"],
        indexes=["tenant_pk", "user_pk"],
    ),
    "second_factors": Table(
        "factor_id id, user_pk >users, name id, seed hash, moment int, made_at moment, "
        "used_at moment?",
        unique=["factor_id"],
        indexes=["user_pk"],
    ),
    "recovery_codes": Table("user_pk >users, code_hash hash", unique=["user_pk code_hash"]),
    "sign_in_steps": Table(
        "token_hash hash, user_pk >users, purpose word{sign_in|enrol}, seed hash, begun_at moment",
        unique=["token_hash"],
        indexes=["begun_at", "user_pk"],
    ),
    "passkeys": Table(
        "passkey_id id, user_pk >users, name id, credential_id text, public_key bytes, "
        "sign_count big, made_at moment, used_at moment?",
        unique=["credential_id", "passkey_id"],
        indexes=["user_pk"],
    ),
    "passkey_challenges": Table(
        "challenge_hash hash, holder_hash hash, begun_at moment",
        unique=["challenge_hash"],
        indexes=["begun_at"],
    ),
    "home_devices": Table(
        "device_id id, token_hash hash, name id, tenant_pk >tenants, made_at moment, "
        "used_at moment",
        unique=["device_id", "token_hash"],
        indexes=["tenant_pk", "used_at"],
    ),
    "connection_codes": Table(
        "code_hash hash, tenant_pk >tenants, expires_at moment",
        unique=["code_hash"],
        indexes=["expires_at", "tenant_pk"],
    ),
    "known_devices": Table(
        "device_hash hash, user_pk >users, seen_at moment",
        unique=["device_hash user_pk"],
        indexes=["seen_at", "user_pk"],
    ),
    "audit_entries": Table(
        "at moment, actor id, action id, subject json, tenant_pk >tenants",
        indexes=["tenant_pk at", "tenant_pk id"],
    ),
    "bench_plans": Table(
        "made_at moment, as_of day, payload json, tenant_pk >tenants", indexes=["tenant_pk id"]
    ),
    "fits": Table(
        "fit_id id, fitted_at moment, as_of day, model_version word, data_version int, "
        "payload json, tenant_pk >tenants",
        unique=["fit_id", "tenant_pk id"],
    ),
    "idempotency_keys": Table(
        "route id, key id, fingerprint id, status_code int, body json, created_at moment, "
        "tenant_pk >tenants",
        unique=["tenant_pk route key"],
        indexes=["tenant_pk created_at"],
    ),
    "import_mappings": Table(
        "fingerprint id, answers json, used_at moment, tenant_pk >tenants",
        unique=["tenant_pk fingerprint"],
    ),
    "imports": Table(
        "import_id id, imported_at moment, source text, counts json, report json, "
        "tenant_pk >tenants",
        unique=["import_id", "tenant_pk id"],
    ),
    "revisions": Table(
        "revision_id hex, at moment, actor id?, action id?, import_pk ~imports?, undoes big?, "
        "undone_at moment?, tenant_pk >tenants",
        unique=["revision_id", "tenant_pk id"],
        indexes=["import_pk tenant_pk", "tenant_pk at"],
    ),
    "record_changes": Table(
        "revision_pk >revisions, table_name word, kind word{created|changed|deleted}, row_pk big, "
        "last_pk big, wearer_pk big?, record_key text?, before json?, tenant_pk >tenants",
        checks={"last_pk": "last_pk >= row_pk"},
        indexes=[
            "revision_pk tenant_pk id",
            "tenant_pk table_name record_key",
            "tenant_pk table_name row_pk",
            "tenant_pk wearer_pk",
        ],
    ),
    "invitations": Table(
        "invitation_id id, tenant_pk >tenants, email id, role word?{owner|staff}, "
        "secret_hash hash, expires_at moment, new_password flag",
        unique=["invitation_id", "secret_hash", "tenant_pk email"],
        indexes=["expires_at"],
    ),
    "leases": Table(
        "name word, owner hex, until moment, tenant_pk >tenants", unique=["tenant_pk name"]
    ),
    "memberships": Table(
        "user_pk >users, tenant_pk >tenants, role word{owner|staff}",
        unique=["user_pk tenant_pk"],
        indexes=["tenant_pk"],
    ),
    "shop_settings": Table(
        "name word, value json, version int=1, created_at moment, updated_at moment, "
        "tenant_pk >tenants",
        unique=["tenant_pk name"],
    ),
    "suppliers": Table(
        "supplier_id id, name text?, supply_days number, supply_days_sd number, note text?, "
        "version int=1, created_at moment, updated_at moment, tenant_pk >tenants",
        checks={"supply_days": "supply_days >= 0 AND supply_days_sd >= 0"},
        unique=["tenant_pk supplier_id", "id tenant_pk"],
    ),
    "stock_items": Table(
        "item_id id, use word, material word?, thickness_mm number?, size_eu_from number?, "
        "size_eu_to number?, quantity number[0..]=0, supply_days number, "
        "supply_days_sd number, minimum_order number[0..], service_level number, "
        "review_days int[1..], supplier_pk ~suppliers?, pack_size number?, area_dm2 number?, "
        "yield_share number?, version int=1, created_at moment, updated_at moment, "
        "tenant_pk >tenants",
        checks={
            "area_dm2": "area_dm2 > 0",
            "pack_size": "pack_size > 0",
            "yield_share": "yield_share > 0 AND yield_share <= 1",
            "service_level": "service_level > 0 AND service_level < 1",
            "supply_days": "supply_days >= 0 AND supply_days_sd >= 0",
        },
        unique=["tenant_pk item_id", "id tenant_pk"],
        indexes=["supplier_pk tenant_pk"],
    ),
    "stopped_addresses": Table(
        "address_hash hash, reason text, at moment, tenant_pk >tenants",
        unique=["tenant_pk address_hash"],
    ),
    "wearers": Table(
        "wearer_id id, name text?, time_zone word='UTC', driving_foot word?{left|right|both|"
        "none}, email text?, phone text?, language text?, wears_per_week number?[0..7], "
        "notes text?, dress_week text?, data_version int=0, version int=1, "
        "created_at moment, updated_at moment, tenant_pk >tenants",
        unique=["tenant_pk wearer_id", "id tenant_pk"],
    ),
    "calendar_feeds": Table(
        "wearer_pk >wearers, secret_hash hash, made_at moment, tenant_pk >tenants",
        unique=["secret_hash", "wearer_pk"],
    ),
    "reminders": Table(
        "wearer_pk >wearers, kinds json, address address?, quiet_from word, quiet_to word, "
        "told json, next_look_at moment, tenant_pk >tenants",
        unique=["wearer_pk"],
        indexes=["tenant_pk next_look_at"],
    ),
    "push_devices": Table(
        "push_id id, wearer_pk >wearers, endpoint text, endpoint_hash hash, p256dh id, auth id, "
        "name id, made_at moment, tenant_pk >tenants",
        unique=["wearer_pk endpoint_hash", "id tenant_pk", "tenant_pk push_id"],
    ),
    "reminder_messages": Table(
        "wearer_pk >wearers, push_pk >push_devices?, message_id id, payload json, made_at moment, "
        "state word{pending|sent|failed}, attempts int, next_try_at moment, problem text?, "
        "tenant_pk >tenants",
        unique=["tenant_pk message_id"],
        indexes=["wearer_pk tenant_pk", "push_pk tenant_pk", "tenant_pk state next_try_at"],
    ),
    "care_rules": Table(
        "wearer_pk >wearers, upper word{smooth_calf|suede|shell|other}, care word{trees|rest|"
        "dry_slowly|brush|condition|waterproof|look_at_top_piece|look_at_toe}, fields json, "
        "version int=1, created_at moment, updated_at moment, tenant_pk >tenants",
        unique=["wearer_pk upper care"],
    ),
    "consents": Table(
        "wearer_pk >wearers, channel word, given_at moment, given_how text, given_by id, "
        "withdrawn_at moment?, withdrawn_how text?, address address?, tenant_pk >tenants",
        checks={"withdrawn_somehow": "(withdrawn_at IS NULL) = (withdrawn_how IS NULL)"},
        indexes=["tenant_pk id", "wearer_pk tenant_pk channel"],
    ),
    "notices": Table(
        "notice_id hex, wearer_pk >wearers, decided_at moment, decided_on day, sequence int, "
        "tenant_pk >tenants",
        checks={"sequence": "sequence IN (1, 2)"},
        unique=["notice_id", "tenant_pk id"],
        indexes=["wearer_pk tenant_pk decided_on"],
    ),
    "pairs": Table(
        "pair_id id, wearer_pk >wearers, label text?, construction word{goodyear_welted|"
        "hand_welted|blake|blake_rapid|norwegian|stitchdown|cemented}, dress_code word?{formal|"
        "business|casual|outdoor}, size_eu number?[15..55], acquired_on day?, "
        "price_minor big?[0..], currency code?, earlier_resoles int?[0..30], "
        "wears_per_week number?[0..7], in_use_on day?, notes text?, maker text?, last text?, "
        "colour text?, form word?{oxford|wholecut|derby|monk|loafer|boot|chelsea}, tags text?, "
        "size_uk number?[0..20], size_us number?[0..22], kind word?{men|women|children|boots}, "
        "version int=1, created_at moment, updated_at moment, tenant_pk >tenants",
        unique=["tenant_pk pair_id", "id tenant_pk"],
        indexes=["wearer_pk tenant_pk"],
    ),
    "personal_links": Table(
        "tenant_pk >tenants, wearer_pk >wearers, secret_hash hash, made_at moment, used_at moment?",
        unique=["secret_hash", "wearer_pk", "tenant_pk id"],
    ),
    "rack_plans": Table(
        "plan_id id, wearer_pk >wearers, made_at moment, starts_on day, weeks int[1..60], "
        "question json, answer json, state word{asked|made|refused}, tenant_pk >tenants",
        unique=["plan_id"],
        indexes=["wearer_pk id"],
    ),
    "resole_routes": Table(
        "wearer_pk >wearers, route_id id, fields json, version int=1, created_at moment, "
        "updated_at moment, tenant_pk >tenants",
        unique=["wearer_pk route_id"],
    ),
    "layers": Table(
        "layer_id id, pair_pk >pairs, foot word?{left|right}, "
        "layer word{sock|lining|insole|filler|shank|welt|midsole|lifts|top_piece|toe_piece|"
        "toe_plate}, material word?{leather|rubber|combination|cork|felt|board|canvas|steel|wood|"
        "glass_fibre|plastic}, nominal_thickness_mm number?[0..100], "
        "thickness_mm number?[0..100], limit_mm number?[0..40], "
        "seam word?{none|inseam|aloft|blake|storm|round|glued}, earlier_seams int?[0..30], "
        "fitted_on day?, removed_on day?, version int=1, "
        "created_at moment, updated_at moment, tenant_pk >tenants",
        checks={"removed_after_fitted": "removed_on >= fitted_on"},
        unique=["tenant_pk layer_id"],
        indexes=["pair_pk tenant_pk"],
    ),
    "bench_jobs": Table(
        "job_id id, pair_pk >pairs, work word{full_sole|half_sole|top_piece|toe_plate|rewelt|"
        "heel_block|guard|toe_piece|restitch|shank|sock}, received_on day, "
        "promised_on day?, finished_on day?, returned_on day?, bench_minutes number?[0..100000], "
        "price_minor big?[0..], currency code?, advised flag=false, more_works text?, "
        "version int=1, "
        "created_at moment, updated_at moment, tenant_pk >tenants",
        checks={
            "finished_after_received": "finished_on >= received_on",
            "returned_after_received": "returned_on >= received_on",
        },
        unique=["tenant_pk job_id"],
        indexes=["pair_pk tenant_pk received_on"],
    ),
    "bench_orders": Table(
        "order_id id, pair_pk >pairs, work word{full_sole|half_sole|top_piece|toe_plate|rewelt|"
        "heel_block|guard|toe_piece|restitch|shank|sock}, stage word{booked|in_post|"
        "received|on_bench|sent_on|checked|posted_back|returned|cancelled|missed|refused}, "
        "booked_on day, sent_to id?, back_on day?, warranty_of id?, reason text?, "
        "expected_on day?, promised_on day?, by_post flag=false, parcel_in id?, parcel_out id?, "
        "worker id?, bench_minutes number?[0..100000], price_minor big?[0..], currency code?, "
        "note text?, advised flag=false, more_works text?, ticket int?[1..], version int=1, "
        "created_at moment, updated_at moment, "
        "tenant_pk >tenants",
        unique=["order_id", "id tenant_pk"],
        indexes=["pair_pk tenant_pk", "tenant_pk stage expected_on", "tenant_pk ticket"],
    ),
    "browser_sessions": Table(
        "session_id id, token_hash hash, device id, user_pk >users?, link_pk >personal_links?, "
        "tenant_pk >tenants, begun_at moment, used_at moment",
        checks={"one_person": "(user_pk IS NULL) <> (link_pk IS NULL)"},
        unique=["session_id", "token_hash"],
        indexes=["link_pk tenant_pk", "tenant_pk", "used_at", "user_pk"],
    ),
    "care_done": Table(
        "pair_pk >pairs, care word{trees|rest|dry_slowly|brush|condition|waterproof|"
        "look_at_top_piece|look_at_toe}, done_on day, start flag=false, tenant_pk >tenants",
        unique=["pair_pk care done_on"],
    ),
    "checks": Table(
        "pair_pk >pairs, checked_on day, foot word{left|right}, point word{ball|toe|heel|"
        "waist}, method word{caliper|depth_gauge|ultrasonic|thumb}, value_mm number?[0..40], "
        "grade word?{firm|give|soft|hole}, lug_mm number?[0..40], version int=1, "
        "created_at moment, updated_at moment, tenant_pk >tenants",
        checks={
            "one_result": "(value_mm IS NULL) <> (grade IS NULL)",
            "lug_within": "lug_mm <= value_mm",
        },
        unique=["pair_pk checked_on foot point method"],
    ),
    "due_outcomes": Table(
        "pair_pk >pairs, due_on day, outcome word{came|declined|no_show|open}, came_on day?, "
        "supposed flag=false, tenant_pk >tenants",
        checks={"came_with_day": "(came_on IS NOT NULL) = (outcome = 'came')"},
        unique=["pair_pk due_on"],
    ),
    "notice_pairs": Table(
        "notice_pk >notices, pair_pk >pairs, place int, foot word, sole_id id, window int, "
        "sequence int, why word, told_day day, answer word?{booked|declined|elsewhere|"
        "checked}, answered_at moment?, seen_at moment?, tenant_pk >tenants",
        checks={"sequence": "sequence IN (1, 2)"},
        unique=["notice_pk tenant_pk place", "pair_pk foot sole_id window sequence"],
        indexes=["tenant_pk pair_pk", "tenant_pk answered_at"],
    ),
    "outbox": Table(
        "notice_pk >notices, channel word, message_id id, payload json, made_at moment, "
        "state word{pending|claimed|sent|failed|cancelled}, attempts int[0..], "
        "next_try_at moment, lease_until moment?, worker id?, problem text?, done_at moment?, "
        "printed_at moment?, tenant_pk >tenants",
        unique=["message_id", "notice_pk tenant_pk channel"],
        indexes=["tenant_pk state next_try_at"],
    ),
    "pair_photos": Table(
        "photo_id id, pair_pk >pairs, taken_in moment, media_type word{image/jpeg}, "
        "content bytes, thumbnail bytes, tenant_pk >tenants",
        unique=["photo_id"],
        indexes=["pair_pk id"],
    ),
    "shared_pages": Table(
        "share_id id, wearer_pk >wearers, pair_pk >pairs?, secret_hash hash, reader text?, "
        "made_at moment, expires_on day, tenant_pk >tenants",
        unique=["share_id", "secret_hash"],
        indexes=["wearer_pk", "pair_pk tenant_pk"],
    ),
    "pair_traits": Table(
        "pair_pk >pairs, upper word{smooth_calf|suede|shell|other}, months json, "
        "weight number[0..10], route_id id?, version int=1, created_at moment, "
        "updated_at moment, tenant_pk >tenants",
        unique=["pair_pk"],
    ),
    "soles": Table(
        "sole_id id, pair_pk >pairs, fitted_on day, material word{oak_bark_leather|"
        "veg_tan_leather|flexible_leather|rubber|studded_rubber|lug_rubber|crepe|"
        "microcellular}, nominal_thickness_mm number[0..40], limit_mm number?[0..40], "
        "cover word?{full|half|guard}, channel word?{closed|open|none}, assumed flag=false, "
        "removed_on day?, continues text?, version int=1, created_at moment, "
        "updated_at moment, tenant_pk >tenants",
        checks={
            "limit_under_nominal": "limit_mm < nominal_thickness_mm",
            "removed_after_fitted": "removed_on >= fitted_on",
        },
        unique=["tenant_pk sole_id", "id tenant_pk"],
        indexes=["pair_pk tenant_pk fitted_on"],
    ),
    "wear_days": Table(
        "pair_pk >pairs, worn_on day, hours number?[0..24], steps int?[0..200000], "
        "surface word{indoor|pavement|rough}='pavement', wet flag=false, "
        "driving_minutes number?[0..1440], version int=1, created_at moment, "
        "updated_at moment, tenant_pk >tenants",
        unique=["pair_pk worn_on"],
    ),
    "bench_events": Table(
        "order_pk >bench_orders, at moment, from_stage word?, to_stage word, worker id?, "
        "details json, tenant_pk >tenants",
        indexes=["order_pk id"],
    ),
    "hook_endpoints": Table(
        "endpoint_id id, url text, kinds json, note text?, active flag=true, secret id, "
        "old_secret id?, old_secret_until moment?, version int=1, created_at moment, "
        "updated_at moment, tenant_pk >tenants",
        unique=["endpoint_id", "id tenant_pk"],
    ),
    "hook_events": Table(
        "event_id id, endpoint_pk >hook_endpoints, wearer_pk >wearers, kind word, payload json, "
        "made_at moment, begun_at moment, state word{pending|sent|failed|cancelled}, "
        "attempts int, next_try_at moment, problem text?, done_at moment?, tenant_pk >tenants",
        unique=["event_id"],
        indexes=[
            "endpoint_pk tenant_pk state",
            "tenant_pk id",
            "tenant_pk state next_try_at",
            "wearer_pk tenant_pk",
        ],
    ),
    "booking_messages": Table(
        "wearer_pk >wearers, order_pk ~bench_orders?, order_id id, message_id id, "
        "kind word{request|cancel|reminder}, sequence int, day day, payload json, "
        "made_at moment, state word{pending|sent|failed|cancelled}, attempts int, "
        "next_try_at moment, problem text?, tenant_pk >tenants",
        unique=["message_id"],
        indexes=[
            "order_pk tenant_pk",
            "tenant_pk order_id id",
            "tenant_pk state next_try_at",
            "wearer_pk tenant_pk",
        ],
    ),
    "bench_papers": Table(
        "order_pk >bench_orders, kind word{condition|before|after}, payload json, "
        "version int=1, created_at moment, updated_at moment, tenant_pk >tenants",
        unique=["order_pk kind"],
    ),
    "bench_photos": Table(
        "photo_id id, order_pk >bench_orders, taken_in moment, media_type word{image/jpeg|"
        "image/png}, caption text?, content bytes, tenant_pk >tenants",
        unique=["photo_id"],
        indexes=["order_pk"],
    ),
    "forecasts": Table(
        "pair_pk >pairs, sole_pk >soles?, fit_pk ~fits?, data_version int, as_of day, "
        "foot word{left|right|pair}, point word{ball|toe|heel}, thickness_mm_p50 number?, "
        "rate_mm_per_wear_day_p50 number?, due_p05 day?, due_p10 day?, due_p25 day?, "
        "due_p50 day?, due_p75 day?, due_p90 day?, due_p95 day?, chance_now number?[0..1], "
        "chance_30d number?[0..1], chance_90d number?[0..1], chance_180d number?[0..1], "
        "chance_365d number?[0..1], wears_left_p10 number?, wears_left_p50 number?, "
        "wears_left_p90 number?, send_by day?, book_by day?, band word?{sound|watch|book in|"
        "stop wearing|away|retired}, first_foot word?{left|right}, "
        "chance_in_use number?, reason text?, "
        "tenant_pk >tenants",
        unique=["pair_pk tenant_pk foot point"],
        indexes=[
            "fit_pk tenant_pk",
            "sole_pk tenant_pk",
            "tenant_pk foot point send_by",
            "tenant_pk send_by",
        ],
    ),
    "stock_moves": Table(
        "item_pk >stock_items, order_pk ~bench_orders?, at moment, reason word{receipt|use|"
        "count}, change number, quantity_after number[0..], note text?, tenant_pk >tenants",
        indexes=["item_pk id", "order_pk"],
    ),
    "purchase_orders": Table(
        "purchase_id id, item_pk >stock_items, supplier_pk ~suppliers?, state word{ordered|"
        "part_received|received|cancelled}, ordered_on day, expected_on day, quantity number, "
        "received number, closed_on day?, note text?, version int=1, created_at moment, "
        "updated_at moment, tenant_pk >tenants",
        checks={
            "expected_on": "expected_on >= ordered_on",
            "quantity": "quantity > 0",
            "received": "received >= 0 AND received <= quantity",
        },
        unique=["purchase_id"],
        indexes=["item_pk tenant_pk", "supplier_pk tenant_pk", "tenant_pk state expected_on"],
    ),
}
