"""The cockpit and the years: taps, crew phones, events, and vector rounds."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

#: In the order in which they can be made.
TABLES = ("join_codes", "devices", "taps", "events", "round_details", "recordings", "legs")
#: A code counts its wrong tries; all else is a fact.
FACTS = tuple(table for table in TABLES if table != "join_codes")
WORDS = "a fact is kept as it was entered; undo its journal entry instead"
KINDS = ("calibration", "check")
COURSE = "course_id IS NOT NULL OR kind = 'vector round'"


def upgrade() -> None:
    op.add_column(
        "trial_details", sa.Column("tide_amplitude_kn", sa.Double(), nullable=False, server_default=sa.text("'1.0'"))
    )
    with op.batch_alter_table("trials", schema=None) as batch_op:
        if op.get_bind().dialect.name == "postgresql":
            batch_op.drop_constraint(op.f("ck_trials_kind"), type_="check")
        batch_op.alter_column("kind", existing_type=sa.String(11), type_=sa.String(12), existing_nullable=False)
        batch_op.alter_column("course_id", existing_type=sa.Integer(), nullable=True)
        allowed = ", ".join(f"'{kind}'" for kind in (*KINDS, "vector round"))
        batch_op.create_check_constraint(op.f("ck_trials_kind"), f"kind IN ({allowed})")
        batch_op.create_check_constraint(op.f("ck_trials_course"), COURSE)
    _make_crew()
    _make_events()
    _make_rounds()
    for table in (*FACTS, "trials"):
        _guard(table)


def _make_crew() -> None:
    op.create_table(
        "join_codes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=12), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("wrong_tries", sa.Integer(), nullable=False),
        *_entered("join_codes"),
    )
    _index("join_codes", "entry_id")
    op.create_table(
        "devices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("joined_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("code_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["code_id"], ["join_codes.id"], name=op.f("fk_devices_code_id_join_codes")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_devices_token_hash")),
        *_entered("devices"),
    )
    _index("devices", "code_id", "entry_id")
    op.create_table(
        "taps",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("device_id", sa.String(length=60), nullable=False),
        sa.Column("device_name", sa.String(length=120), nullable=False),
        sa.Column("page", sa.String(length=20), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(length=36), nullable=False),
        sa.Column("kind", _kinds(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("pressed_at_ms", sa.Double(), nullable=False),
        sa.Column("clock_offset_ms", sa.Double(), nullable=True),
        sa.Column("clock_offset_u_ms", sa.Double(), nullable=True),
        sa.Column("by", sa.String(length=120), nullable=False),
        sa.Column("sent_by", sa.Integer(), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sent_by"], ["devices.id"], name=op.f("fk_taps_sent_by_devices")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taps")),
    )
    _index("taps", "run_id", "sent_by", "trial_id")


def _kinds() -> sa.Enum:
    return sa.Enum(
        "start",
        "stop",
        "speed",
        "log_start",
        "log_stop",
        "rpm",
        "compass",
        "group",
        "direction",
        "helm",
        "timed_by",
        "noted_by",
        "remark",
        "strike",
        "keep",
        "drop",
        name="kind",
        native_enum=False,
        create_constraint=True,
    )


def _make_events() -> None:
    op.create_table(
        "events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "cleaning",
                "haul-out",
                "collision",
                "new paddle",
                "setting change",
                "other",
                name="kind",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_events_instrument_id_instruments")
        ),
        *_entered("events"),
    )
    _index("events", "entry_id", "instrument_id")


def _make_rounds() -> None:
    op.create_table(
        "round_details",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("speed_resolution_kn", sa.Double(), nullable=False),
        sa.Column("sog_resolution_kn", sa.Double(), nullable=False),
        sa.Column("cog_resolution_deg", sa.Double(), nullable=False),
        sa.Column("heading_resolution_deg", sa.Double(), nullable=False),
        sa.Column("unevenness_kn", sa.Double(), nullable=False),
        sa.Column("tide_amplitude_kn", sa.Double(), nullable=False),
        sa.Column("u_deviation_deg", sa.Double(), nullable=False),
        sa.Column("wind_kn", sa.Double(), nullable=True),
        sa.Column("crew", sa.Text(), nullable=False),
        sa.Column("weather", sa.Text(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        *_of_trial("round_details"),
    )
    _index("round_details", "entry_id", "trial_id")
    op.create_table(
        "recordings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("duration_s", sa.Double(), nullable=False),
        sa.Column("counts", sa.JSON(), nullable=False),
        sa.Column("words", sa.JSON(), nullable=False),
        *_of_trial("recordings"),
    )
    _index("recordings", "entry_id", "trial_id")
    _make_legs()


def _make_legs() -> None:
    op.create_table(
        "legs",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("heading_deg", sa.Double(), nullable=False),
        sa.Column("variation_deg", sa.Double(), nullable=False),
        sa.Column("indicated_kn", sa.Double(), nullable=False),
        sa.Column("sog_kn", sa.Double(), nullable=False),
        sa.Column("cog_true_deg", sa.Double(), nullable=True),
        sa.Column("duration_s", sa.Double(), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column(
            "tack",
            sa.Enum("port", "starboard", "", name="tack", native_enum=False, create_constraint=True),
            nullable=False,
        ),
        sa.Column("turn_rate_deg_s", sa.Double(), nullable=True),
        sa.Column("u_indicated_kn", sa.Double(), nullable=True),
        sa.Column("u_sog_kn", sa.Double(), nullable=True),
        sa.Column("u_cog_deg", sa.Double(), nullable=True),
        sa.Column("u_heading_deg", sa.Double(), nullable=True),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=True),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["recording_id"], ["recordings.id"], name=op.f("fk_legs_recording_id_recordings")),
        *_of_trial("legs"),
    )
    _index("legs", "entry_id", "recording_id", "trial_id")


def _entered(table: str) -> tuple[sa.schema.SchemaItem, ...]:
    return (
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["journal.id"], name=op.f(f"fk_{table}_entry_id_journal")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
    )


def _of_trial(table: str) -> tuple[sa.schema.SchemaItem, ...]:
    foreign = sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f(f"fk_{table}_trial_id_trials"))
    return (foreign, *_entered(table))


def _index(table: str, *columns: str) -> None:
    for column in columns:
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column], unique=False)


def _guard(table: str) -> None:
    """Refuse changes of a table's rows; a table that was rebuilt has lost its guards."""
    postgresql = op.get_bind().dialect.name == "postgresql"
    if postgresql and table == "trials":
        return
    for word in ("update", "delete"):
        event = f"{table}_no_{word} BEFORE {word.upper()} ON {table}"
        if postgresql:
            op.execute(f"CREATE TRIGGER {event} FOR EACH ROW EXECUTE FUNCTION truemile_refuse()")
        else:
            op.execute(f"CREATE TRIGGER {event} BEGIN SELECT RAISE(ABORT, '{WORDS}'); END")


def downgrade() -> None:
    """Go back; vector rounds, which the older schema has no room for, must have been taken out first."""
    for table in reversed(TABLES):
        op.drop_table(table)
    postgresql = op.get_bind().dialect.name == "postgresql"
    with op.batch_alter_table("trials", schema=None) as batch_op:
        if postgresql:
            batch_op.drop_constraint(op.f("ck_trials_course"), type_="check")
            batch_op.drop_constraint(op.f("ck_trials_kind"), type_="check")
        batch_op.alter_column("course_id", existing_type=sa.Integer(), nullable=False)
        batch_op.alter_column("kind", existing_type=sa.String(12), type_=sa.String(11), existing_nullable=False)
        allowed = ", ".join(f"'{kind}'" for kind in KINDS)
        batch_op.create_check_constraint(op.f("ck_trials_kind"), f"kind IN ({allowed})")
    op.drop_column("trial_details", "tide_amplitude_kn")
    if not postgresql:
        _guard("trials")
